"""Every rule of check and read-back is met by some drawn job: a rule that no job meets is proved by
no run.

Checks: fixed jobs on which each check gives a verdict. Findings: one small drawn job with a cradle,
clamps, tool changes by M6 with length offsets, plugs and inserts; a fault planted in its planned
files for each kind of finding, by the rules of `tests/faults` or by a change of its own. `peck`
needs a drill and is met on a second job, `rehearsal` in the files of a rehearsal.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import tests.faults.bench as faults
from corepath.gcode.read.findings import KINDS
from corepath.planning.make import make_files
from corepath.planning.plan import Plan, plan
from corepath.planning.prepare import Prepared, prepare
from corepath.planning.proving.reading import read_files, shop_of
from corepath.readback.words.rehearsed import check_rehearsals
from tests.faults.bench import FILE_RULES, ONLY_IN, Bench
from tests.population.drawing import draw
from tests.population.judging import judge, write_job

ROOT = Path(__file__).parents[2]

CHECKED = ((260101, 35), (260101, 17), (260102, 12), (260101, 174), (260101, 32))
"""The quickest to check of those that a run met each check on."""


@pytest.mark.whole
def test_every_check_is_judged_on_a_drawn_job(tmp_path: Path) -> None:
    """The list is that of the guide (docs/checks.md), which another test holds to what check can
    say."""
    listed = set(
        re.findall(
            r"^\| \[([\w-]+)\]\(checks/", (ROOT / "docs" / "checks.md").read_text("utf-8"), re.M
        )
    )
    assert len(listed) >= 27
    met: set[str] = set()
    for seed, index in CHECKED:
        outcome = judge(draw(seed, index), tmp_path / f"{seed}-{index}", check_only=True)
        assert outcome.outcome == "passed", outcome
        met |= set(outcome.verdicts)
    # No drawn job ends its deck short of the blank: the minutes that drawn jobs took before, which
    # tests.benchmarks compares with, are those of the whole blank. A sample does.
    sample = prepare(ROOT / "samples" / "one-shop" / "hand-plane-230.toml")
    met |= {check.id for check in sample.checks} & {"beyond"}
    assert met == listed


SMALL, DRILLED = (260102, 136), (260102, 54)
TRIES = 10
Change = Callable[[str], str]


def shifted(axis: str, by: float) -> Change:
    """Every word of an axis moved, inches."""
    return lambda text: re.sub(
        r"(?m)^(G[01] "
        rf"[^\n(]*?{axis})(-?\d+\.\d+)",
        lambda word: f"{word[1]}{float(word[2]) + by:.5f}",
        text,
    )


def once(pattern: str, by: str) -> Change:
    return lambda text: re.sub(pattern, by, text, count=1, flags=re.M)


def stretch_lost(text: str) -> str:
    """Two hundred lines left out in the middle: what follows meets what they should have taken
    away."""
    lines = text.split("\n")
    middle = len(lines) // 2
    return "\n".join([*lines[:middle], *lines[middle + 200 :]])


PLANTED: dict[str, tuple[str, Change]] = {
    "after-end": ("01-A-dowels.nc", lambda text: f"{text}G0 Z2.00000\n"),
    "arc-mismatch": ("03-A-groove.nc", once(r"^G1 (X\S+ Y\S+)$", r"G2 \1 I0.50000 J0.00000")),
    "collet": ("03-A-groove.nc", shifted("Z", -1.5)),
    "deck-height": ("08-C-deck.nc", shifted("Z", 0.01)),
    "engagement": ("03-A-groove.nc", stretch_lost),
    "length-offset": ("01-A-dowels.nc", once(r"^G43 H\d+", "G43 H7")),
    "obstacle": ("08-C-deck.nc", shifted("Y", 1.2)),
    "speed-off": ("01-A-dowels.nc", once(r"^S(\d)\d+", r"S\g<1>000")),
    "spindle-not-up": ("01-A-dowels.nc", once(r"^G4 P\S+", "G4 P0.10")),
    "spoil-board": ("01-A-dowels.nc", shifted("Z", -1.0)),
    "stop-with-spindle-on": ("01-A-dowels.nc", lambda text: "".join(text.rsplit("M5\n", 1))),
    "units": ("01-A-dowels.nc", once(r"^G20\n", "")),
    "unknown-cutter": ("01-A-dowels.nc", once(r"^T\d+", "T999")),
    "wrong-cutter": (
        "03-A-groove.nc",
        lambda text: re.sub(r"T(\d+)", lambda t: f"T{int(t[1]) + 1}", text),
    ),
}
"""Kind of finding: the file, and what is done to it."""

BY_RULE = {
    "below-lowest": "plane of a pass "
                    "lower", "block-delete": "block delete", "bore-closed": "scaled",
    "changed": "job altered", "direction": "mirrored in Y", "feed-missing": "feeds lost",
    "feed-too-high": "feed x 10", "feed-too-low": "feed / 10", "first-way": "files exchanged",
    "floor": "zero too high", "layer-missed": "zero beside", "load": "plane of a pass lower",
    "missing-end": "end lost", "missing-file": "file missing", "missing-stop": "stop lost",
    "mixed-plans": "file of another "
                   "plan", "not-reached": "zero too high", "order": "files exchanged",
    "outside-area": "zero beside", "path-mode": "G61 for G64", "plane": "plane of a pass lower",
    "plunge": "straight down "
              "first", "plunge-at-rapid": "zero too low", "preamble": "preamble line lost",
    "rapid-through-material": "zero too low", "seat": "scaled", "spindle-off": "spindle line lost",
    "start-unknown": "G91 for G90", "steep-ramp": "steeply down first", "stop-low": "zero too low",
    "syntax": "comment left "
              "open", "too-deep-for-cutter": "zero too low", "travel": "decimal point lost",
    "unsupported": "spindle backwards", "width": "zero beside", "words": "words: other "
                                                                         "cutter",
                                                                         "zero": "G55 for G54",
}  # fmt: skip
"""Kind of finding: a rule of `tests/faults` that brings it about."""

APART = {"peck", "rehearsal", "touch"}


class Small(Bench):
    """The small job, planned once, with its rehearsals."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        def kept(prepared: Prepared) -> Plan:
            self.made = plan(prepared)
            return self.made

        monkeypatch.setattr(faults, "SAMPLE", write_job(draw(*SMALL), folder))
        monkeypatch.setattr(faults, "plan", kept)
        super().__init__()


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Small]:
    with pytest.MonkeyPatch.context() as monkeypatch:
        yield Small(tmp_path_factory.mktemp("small"), monkeypatch)


def test_every_kind_of_finding_has_its_fault() -> None:
    assert set(PLANTED) | set(BY_RULE) | APART == set(KINDS)
    assert len(PLANTED) + len(BY_RULE) + len(APART) == len(KINDS)


@pytest.mark.slow
def test_the_small_job_itself_is_good(small: Small) -> None:
    """Else every fault would be found in anything."""
    assert small.found(small.texts, "08-C-deck.nc") == ()


@pytest.mark.slow
@pytest.mark.parametrize("kind", PLANTED)
def test_a_planted_fault_is_told_by_its_kind(small: Small, kind: str) -> None:
    name, change = PLANTED[kind]
    text = change(small.texts[name])
    assert text != small.texts[name]
    assert kind in small.found({**small.texts, name: text}, name)


@pytest.mark.slow
@pytest.mark.parametrize("kind", BY_RULE)
def test_a_fault_by_rule_is_told_by_its_kind(small: Small, kind: str) -> None:
    """The first of some draws that has it: where a rule strikes is chance."""
    rule = BY_RULE[kind]
    setups = "ABC" if rule in (*FILE_RULES, *ONLY_IN) else "A"
    drawn = (small.draw(rule, seed, setups) for seed in range(TRIES))
    assert any(kind in small.found(fault.texts, fault.file) for fault in drawn if fault is not None)


@pytest.mark.slow
def test_a_rehearsal_that_comes_down_is_told(small: Small) -> None:
    made, shop = small.made, shop_of(small.prepared)
    name, text = next(
        (name, str(text))
        for name, text in made.files.items()
        if "/" in name and name.endswith(".nc")
    )

    def kinds(told: str) -> tuple[str, ...]:
        return check_rehearsals(
            small.prepared.ahead, shop, {name: told}, made.readback.travelled
        ).kinds

    assert kinds(text) == ()
    assert "rehearsal" in kinds(text.replace("M5", "M3 S9000", 1))


@pytest.mark.whole
def test_a_drill_that_pecks_too_deep_is_told(tmp_path: Path) -> None:
    """Only the first file is made; its drill clears its chips from every peck."""
    prepared = prepare(write_job(draw(*DRILLED), tmp_path))
    dowels = replace(
        prepared, works=tuple(work for work in prepared.works if work.name == "dowels")
    )
    made = {one.name: one.text for one in make_files(dowels)}
    name = next(name for name, text in made.items() if "\nG83 " in text)
    assert read_files(dowels, made).counts == {}
    # without the cycle, nor coming up after it
    deep = re.sub(r"(?m)^(G83 .*|G80|G99)\n", "", made[name])
    deep = re.sub(r"(?m)^G0 Z1\.\d+\nG0 Z-\S+\n", "", deep)
    assert "peck" in read_files(dowels, {**made, name: deep}).counts
