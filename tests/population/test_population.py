"""The drawing: the ranges that it says, parts clear of each other, the same job for ever; a judge
that can refuse."""

from __future__ import annotations

import json
import math
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel
from shapely import LineString, Point, Polygon, box

from corepath.job.model import Job
from corepath.planning.prepare import prepare
from corepath.planning.report.checks_report import checks_report
from corepath.planning.report.geometry import geometry_dict
from tests.population.chance import Chance
from tests.population.drawing import Drawn, draw, length_drawn
from tests.population.judging import Outcome, judge, write_job
from tests.population.stranger import figure_breaches
from tests.population.table import report
from tests.population.toml_text import Mm, toml_text

SEED, COUNT = 415, 120
FIRST = [0.5118216247, 0.331872391868]


SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def draws() -> list[Drawn]:
    return [draw(SEED, index) for index in range(COUNT)]


def _keys(table: Mapping[str, Any], *above: str) -> Iterator[tuple[str, ...]]:
    """The path of each key of a job, numbers of lists left out."""
    for key, value in table.items():
        inner = value if isinstance(value, list) else [value]
        if any(isinstance(one, Mapping) for one in inner):
            for one in inner:
                yield from _keys(one, *above, key)
        else:
            yield (*above, key)


def _of_the_model(model: type[BaseModel], *above: str) -> Iterator[tuple[str, ...]]:
    """The path of each key that a job may hold."""
    for name, field in model.model_fields.items():
        sections = [
            part
            for part in (field.annotation, *get_args(field.annotation))
            if isinstance(part, type) and issubclass(part, BaseModel)
        ]
        key = field.alias or name
        if not sections:
            yield (*above, key)
        for section in sections:
            yield from _of_the_model(section, *above, key)


def test_every_key_stands_in_a_sample_or_a_drawn_job(draws: list[Drawn]) -> None:
    """What nobody ever gives has never been planned with."""
    texts = [path.read_text("utf-8") for path in SAMPLES.rglob("*.toml")]
    used = {key for text in texts for key in _keys(tomllib.loads(text))}
    used |= {key for drawn in draws for key in _keys(tomllib.loads(drawn.text))}
    known = set(_of_the_model(Job))
    assert ("groove", "floor") in known and ("cutter", "diameter") in known and len(known) > 150
    # written by `plan --copies`; asked for only with lengths kept in the control
    elsewhere = {("copy_of",), ("machine", "probe_number")}  # test_copies, test_touch_files
    assert known - used == elsewhere


def test_a_run_of_checks_alone_plans_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It must say of a job what `corepath check` says, and count it among those that passed."""
    drawn = draw(260101, 3)
    monkeypatch.setattr("tests.population.judging.prove", None)  # planning would crash
    outcome = judge(drawn, tmp_path, check_only=True)
    assert (outcome.outcome, outcome.kinds) == ("passed", {})
    assert outcome.verdicts["window"] == "ok" and "fail" not in outcome.verdicts.values()
    assert "passed check" + " " * 24 + "1  100 %" in report([outcome])
    assert sorted(file.name for file in tmp_path.iterdir()) == sorted(["job.toml", *drawn.files])


def test_numbers_of_a_seed_are_the_same_for_ever() -> None:
    """Another stream of numbers would make every job that is told by seed and index another one.

    The first doubles of PCG64 seeded with [1, 0] and [1, 1], as numpy 2 gives them.
    """
    assert [round(Chance(1, index).share(), 12) for index in (0, 1)] == FIRST


def test_a_job_hangs_on_seed_and_index_alone() -> None:
    """Else nobody could draw a job again that was withheld."""
    again = draw(SEED, 5)
    assert length_drawn(SEED, 5) == again.traits["length"]
    other = draw(SEED, 6)
    assert (again.text, again.files) == (draw(SEED, 5).text, draw(SEED, 5).files)
    assert again.text != other.text


@pytest.mark.whole
def test_ranges_are_met_evenly(draws: list[Drawn]) -> None:
    """A draw that keeps to the middle of its ranges proves nothing about their ends.

    Each fifth of a range holds 160/5 = 32 jobs, give or take 4 standard deviations of sqrt(160 ·
    0.2 · 0.8) = 5.1.
    """
    for key, low, high in (("length", 420.0, 1400.0), ("core", 7.0, 12.0), ("edge", 3.0, 4.6)):
        shares = [(one.traits[key] - low) / (high - low) for one in draws]
        assert min(shares) >= 0.0 and max(shares) <= 1.0
        fifths = Counter(min(int(5 * share), 4) for share in shares)
        assert all(12 <= fifths[k] <= 52 for k in range(5)), (key, fifths)
    extra = [float(one.job["blank"]["thickness"]) - one.traits["core"] for one in draws]
    assert min(extra) >= 2.4 - 1e-9 and max(extra) <= 3.4 + 1e-9 and max(extra) - min(extra) > 0.9
    blends = [one.traits["blend"] for one in draws if one.traits["blend"] is not None]
    assert min(blends) < 0.38 and max(blends) > 0.7


@pytest.mark.whole
def test_every_kind_is_drawn(draws: list[Drawn]) -> None:
    """A kind that no job has is a kind that no run proves."""
    wanted = {
        "units": {"mm", "inch"}, "zero": {"bed", "face"}, "flip": {"x", "y"}, "arcs": {True, False},
        "outline": {"stations", "askew", "dxf", "straight", "swallow"}, "plugs": {0, 1, 2},
        "inserts": {1, 2, 3},
        "deck": {"stations", "profile", "patches", "mesh", "grid"}, "flush": {"none", "local",
        "face"},
        "holding": {"clamps B", "clamps C", "frame", "screws"}, "cradle": {True, False},
        "rocker": {True, False},
        "skin": {True, False}, "resin": {"polyurethane", "epoxy"}, "change": {"stop", "m6"},
        "stop in D": {True, False}, "corner": {"middle", "front-left"}, "widest": {50.0, 50.8, 8.0},
    }  # fmt: skip
    for key, kinds in wanted.items():
        met = {one.traits.get(key) for one in draws}
        assert kinds <= met, (key, kinds - met)
    sets = {one.traits["cutters"].split()[0] for one in draws}
    assert sets == {"two", "plain", "wide", "bull", "flats"}
    measured = sum("measured" in one.traits for one in draws)
    assert COUNT / 5 < measured < COUNT / 2
    assert any("slot" in plug for one in draws for plug in one.job.get("plug", []))
    machines = [one.job["machine"] for one in draws]
    assert {one["second_zero"] for one in machines} == {"none", "G55"}
    assert {one.get("length_offset") for one in machines} == {None, False, True}
    assert {one.job["blank"]["wood"] for one in draws} >= {
        "balsa",
        "bamboo",
        "basswood",
        "paulownia",
    }


@pytest.mark.whole
def test_parts_keep_clear_of_each_other(draws: list[Drawn]) -> None:
    """`limits.spacing` is 3: a job that fails it is the draw's fault. Circles by their text, the
    edge by the blank."""
    for one in draws[:80]:
        job, scale = tomllib.loads(one.text), 25.4 if one.traits["units"] == "inch" else 1.0
        parts = _parts(one, job, scale)
        edge = LineString(box(*(s * job["blank"][side] * scale / 2 for s in (-1,
            1) for side in ("length", "width")))
                          .exterior)  # fmt: skip
        for k, (name, area) in enumerate(parts):
            assert area.distance(edge) > 3.0, (one.seed, one.index, name)
            for other, beside in parts[:k]:
                assert area.distance(beside) > 3.0, (one.seed, one.index, name, other)


def _parts(one: Drawn, job: dict[str, Any], scale: float) -> list[tuple[str, Any]]:
    found = []
    for dowel in job["dowel"]:
        found.append(("dowel", _disc(dowel["at"], dowel["diameter"], scale)))
    for plug in job.get("plug", []):
        for x, y in plug["at"]:
            reach = (plug.get("slot", plug["diameter"]) - plug["diameter"]) / 2 * scale
            turn = math.radians(plug.get("angle", 0.0))
            dx, dy = reach * math.cos(turn), reach * math.sin(turn)
            line = LineString([(x * scale - dx, y * scale - dy), (x * scale + dx, y * scale + dy)])
            found.append((plug["name"], line.buffer(plug["diameter"] * scale / 2)))
    for insert in job.get("insert", []):
        wide = insert.get("flange", 0.0) or 0.0
        found += [
            (insert["name"], _disc(at, wide + insert["clearance"], scale)) for at in insert["at"]
        ]
    return found


def _disc(at: list[float], diameter: float, scale: float) -> Polygon:
    return Point(at[0] * scale, at[1] * scale).buffer(diameter * scale / 2)


def test_lengths_alone_are_written_in_inches() -> None:
    """25.4 mm is an inch; a share, a number of turns and a word are not."""
    text = toml_text({"a": {"wide": Mm(25.4), "share": 0.25, "turns": 18000, "says": 'of "oak"'},
                      "b": [{"at": [[Mm(-50.8), Mm(0.0)]]}]}, inch=True)  # fmt: skip
    assert tomllib.loads(text) == {
        "a": {"wide": 1.0, "share": 0.25, "turns": 18000, "says": 'of "oak"'},
        "b": [{"at": [[-2.0, 0.0]]}],
    }


@pytest.fixture(scope="module")
def figures(
    draws: list[Drawn], tmp_path_factory: pytest.TempPathFactory
) -> tuple[Drawn, dict[str, Any], dict[str, Any]]:
    """A drawn job's geometry and report, without any path."""
    wanted = {"deck": "stations", "units": "mm"}
    drawn = next(
        one
        for one in draws
        if one.traits["length"] < 600
        and one.traits["plugs"]
        and wanted.items() <= one.traits.items()
        and "measured" not in one.traits
    )
    prepared = prepare(write_job(drawn, tmp_path_factory.mktemp("drawn")))
    return drawn, geometry_dict(prepared), checks_report(prepared)


def _area(geometry: dict[str, Any], operation: str) -> dict[str, Any]:
    return max(
        (one for one in geometry["areas"] if one["operation"] == operation),
        key=lambda one: one["floor"],
    )


def _lift(geometry: dict[str, Any], at: float, by: float) -> None:
    row = geometry["deck"]["h"][round(at * len(geometry["deck"]["h"]))]
    for j in range(len(row)):
        row[j] += by


FAULTS: dict[str, tuple[str, Callable[[dict[str, Any], dict[str, Any]], Any]]] = {
    "floor low": ("groove: floor", lambda g, r: _area(g, "groove").update(floor=_area(g,
    "groove")["floor"] - 0.05)),
    "plug low": ("plug P1: floor", lambda g, r: _area(g, "plug-pockets").update(floor=0.5)),
    "seat deep": ("insert", lambda g, r: _area(g, "inserts").update(floor=_area(g,
    "inserts")["floor"] - 0.05)),
    "dowel shallow": ("dowel", lambda g, r: _area(g, "dowels").update(floor=-1.0)),
    "deck high": ("deck: edge band", lambda g, r: _lift(g, 0.5, 0.02)),
    "stop early": ("insert", lambda g, r: r["skim"].update(planned_stop=1)),
    "plane low": ("skim: lowest "
                  "plane", lambda g, r: r["skim"]["planes"].append(r["skim"]["planes"][-1] - 0.3)),
    "outline moved": ("outline", lambda g, r: g.update(outline=[[x + 0.05, y] for x,
    y in g["outline"]])),
}  # fmt: skip


@pytest.mark.whole
@pytest.mark.parametrize("fault", ["none", *FAULTS])
def test_figures_are_held_to_the_drawn_ones(
    figures: tuple[Drawn, dict[str, Any], dict[str, Any]], fault: str, tmp_path: Path
) -> None:
    """A judge that takes the folder's own figures for true would confirm a plan for another
    board."""
    drawn, geometry, found = figures
    geometry, found = json.loads(json.dumps(geometry)), json.loads(json.dumps(found))
    if fault != "none":
        FAULTS[fault][1](geometry, found)
    (tmp_path / "geometry.json").write_text(json.dumps(geometry))
    (tmp_path / "report.json").write_text(json.dumps(found))
    told = figure_breaches(drawn, tmp_path)
    assert any(one.startswith(FAULTS[fault][0]) for one in told) if fault != "none" else told == []


def test_the_table_counts_each_job_once() -> None:
    """Five jobs, one of each outcome: 3 of 5 passed check."""
    outcomes = [Outcome(1, k, name, {"load": 2}, "first", 1.5) for k, name in
                enumerate(("input", "check", "withheld", "cut", "planned"))]  # fmt: skip
    rows = {line[:32].strip(): line[32:].split() for line in report(outcomes).splitlines()[:8]}
    assert (
        rows["drawn"] == ["5"]
        and rows["passed check"] == ["3", "60", "%"]
        and rows["CPU seconds"] == ["8"]
    )
    assert rows["withheld"] == ["1", "load", "1"] and rows["planned and confirmed"] == ["1"]
    assert "1 2: load 2: first []" in report(outcomes)
    assert Outcome.of(outcomes[2].line()) == outcomes[2]
