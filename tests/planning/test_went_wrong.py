"""What goes wrong at the machine, recorded: it must change what lies ahead and nothing that is
done, or say plainly that the core is lost."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.load import load_job
from corepath.job.record.ascut import load_record, record_path
from corepath.job.record.settled import Settled
from corepath.job.text.starter import starter_text
from corepath.lengths import MM
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.report.shift_lines import shift_lines
from corepath.stackup.checks.registration import registered

TO_SKIM = frozenset({"dowels", "plug-pockets", "groove"})


def _job(folder: Path, text: str = starter_text("Core")) -> Path:
    path = folder / "core.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _record(path: Path, *words: object) -> Result:
    return CliRunner().invoke(app, ["record", str(path), *map(str, words)])


def _known(path: Path, **settled: object) -> Prepared:
    found = replace(Settled(), **settled)  # type: ignore[arg-type]
    return prepare_job(load_job(path), path.parent, replace(Known(), settled=found))


def test_a_broken_cutter_is_planned_again(tmp_path: Path) -> None:
    """The starter cuts groove and pockets with T2 (6), the skim with T3 (20). Without T2 the
    pockets that are cut keep it, the groove goes to T1 (4), the only other that fits its 11."""
    path = _job(tmp_path)
    used = {work.name: work.cutter.number for work in _known(path).works}
    assert (used["plug-pockets"], used["groove"], used["skim"]) == (2, 2, 3)
    found = _known(path, cut=frozenset({"dowels", "plug-pockets"}), broken=(2,))
    used = {work.name: work.cutter.number for work in found.works}
    assert (used["plug-pockets"], used["groove"], used["skim"]) == (2, 1, 3)
    assert [work.order for work in found.works] == sorted(work.order for work in found.works)
    # a cutter that only what is done needed may be gone
    assert _record(path, "--cut", "dowels", "--broken", 2).exit_code == 0
    assert load_record(record_path(path)).settled().broken == (2,)
    assert _record(path, "--withdraw", 1).exit_code == 0
    assert load_record(record_path(path)).settled().broken == ()


def test_a_core_without_a_cutter_is_planned_on(tmp_path: Path) -> None:
    """T4 is a ball: without the flat ones no groove is cut, and that is said at once."""
    path = _job(tmp_path)
    found = _record(path, "--broken", 1, "--broken", 2, "--broken", 3)
    assert found.exit_code == 0
    said = " ".join(found.stdout.split())
    assert "Without T1, T2, T3 nothing can be planned on:" in said
    assert "no listed cutter fits the groove" in said
    assert CliRunner().invoke(app, ["plan", str(path)]).exit_code == 2
    assert not (tmp_path / "core-plan").exists()
    assert _record(path, "--broken", 9).exit_code == 2


def test_a_stopped_file_is_forgotten_or_never_ends(tmp_path: Path) -> None:
    """Told as the next step until its operation is cut; only a file of this job's plan can stop."""
    path = _job(tmp_path)
    found = _record(path, "--stopped", "there/03-A-groove.nc", 412, "--cut", "dowels")
    assert found.exit_code == 0
    assert "corepath restart 03-A-groove.nc --from-line 412" in found.stdout
    assert "corepath plan" not in found.stdout
    settled = load_record(record_path(path)).settled()
    assert Settled.from_dict(settled.as_dict()) == settled
    assert dict(settled.broken_off) == {"03-A-groove.nc": 412}
    assert _record(path, "--cut", "plug-pockets", "--cut", "groove").exit_code == 0
    assert load_record(record_path(path)).settled().broken_off == {}
    before = record_path(path).read_bytes()
    for file, line in (("03-A-groove.nc", 9), ("my.nc", 9), ("12-E-x.nc", 9), ("04-A-x.nc", 0)):
        assert _record(path, "--stopped", file, line).exit_code == 2
    assert record_path(path).read_bytes() == before


def test_a_shift_moves_what_is_not_cut_yet(tmp_path: Path) -> None:
    """By hand: 0.3 and 0.4 are 0.5. Seats lie off by that once they are bored, the edge may have
    lost as much of its casting by a shift in A, and by one in C nothing."""
    path = _job(tmp_path)
    b = {"B": (0.3, -0.4, 0.0)}
    parts = {
        name: {one.kind: one for one in registered(one.stackup, one.board)}
        for name, one in (
            ("before", _known(path, cut=TO_SKIM, shifts=b)),
            ("bored", _known(path, cut=TO_SKIM | {"skim", "inserts"}, stop=2, shifts=b)),
            ("in A", _known(path, cut=TO_SKIM, shifts={"A": (0.3, 0.4, 0.0)})),
        )
    }
    assert parts["before"]["seat"].left.nominal == 0.0
    assert parts["bored"]["seat"].left.nominal == pytest.approx(0.5)
    lost = parts["before"]["edge"].worst - parts["in A"]["edge"].worst
    assert lost == pytest.approx(0.5) and parts["in A"]["edge"].left.nominal == 6.0


@pytest.mark.parametrize(
    ("cut", "shifts", "message"),
    [
        ((), {"B": (0.5, 0.0, 0.0)}, "nothing that a shift sideways moves is cut there yet"),
        (("skim", "inserts"), {"B": (0.5, 0.0, 0.0)}, "0.50 off its place: the seats"),
        (("skim", "inserts"), {"B": (0.0, 0.0, 0.2)}, "Measure the thickness after the skim"),
        (("skim", "inserts", "deck"), {"C": (3.0, 0.0, 0.0)}, "the edge keeps its thickness"),
        (("skim", "inserts", "deck"), {"C": (8.0, 0.0, 0.0)}, "cannot be saved because its edge"),
        (("skim", "inserts", "deck"), {"C": (0.0, 0.0, 0.4)}, "run its file once more"),
        (("skim", "inserts", "deck"), {"C": (0.0, 0.0, -0.1)}, "seats and bores is left"),
        (("skim", "inserts", "deck"), {"C": (0.0, 0.0, -6.0)}, "cannot be saved because wood-over"),
        ((), {"A": (0.0, 0.0, -0.2)}, "Measure the depth of groove and pockets"),
    ],
)
def test_a_shift_says_nothing_of_use(
    tmp_path: Path, cut: tuple[str, ...], shifts: dict[str, tuple[float, ...]], message: str
) -> None:
    """The starter's edge band is 7 wide, so a deck 3 off keeps its edge and one 8 off does not."""
    stop = 2 if "skim" in cut else None
    found = _known(_job(tmp_path), cut=TO_SKIM | set(cut), stop=stop, shifts=shifts)
    assert any(message in MM.text(line) for line in shift_lines(found)), shift_lines(found)


def test_a_shift_in_inches_is_kept_in_mm(tmp_path: Path) -> None:
    """0.02 in is 0.508 mm; a shift of nothing, of no set-up or of a hand's breadth is refused."""
    from tests.job.test_job_resolved import inch_text

    path = _job(tmp_path, inch_text(starter_text("Core")))
    assert _record(path, "--shift", "B", "0.02", "-0.01", "0").exit_code == 0
    assert "by = [0.02, -0.01, 0.0]" in record_path(path).read_text()
    held = load_record(record_path(path)).settled()
    assert held.shifts["B"] == pytest.approx((0.508, -0.254, 0.0))
    assert Settled.from_dict(held.as_dict()).shifts == held.shifts
    before = record_path(path).read_bytes()
    for words in (("E", 1, 0, 0), ("B", 0, 0, 0), ("B", 5, 0, 0), ("B", "x", 0, 0), ("B", 1, 0)):
        assert _record(path, "--shift", *words).exit_code == 2
    assert record_path(path).read_bytes() == before
