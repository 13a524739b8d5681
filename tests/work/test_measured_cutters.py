"""A measured diameter moves the paths: walls stand where they are designed, by arithmetic done by
hand.

The coupon's groove is 5 outside the outline and 6 inside, cut with T2, listed as 6; plug P1 is a
circle of 14 at (-66, 7), cut with T2; seat and bore of I1 are 15.2 and 6.7 wide at (34, -5), cut
with T1, listed as 4.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest
import shapely

from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.record.ascut import Record
from corepath.job.record.entry_kinds import Entry
from corepath.job.record.settled import Settled
from corepath.lengths import MM
from corepath.motion.program import Kind, Program
from corepath.operations import programs
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job
from corepath.stackup.checks.registration import registered
from corepath.stackup.measuring.facts_for_record import facts_of

SAMPLES = Path(__file__).parents[2] / "samples"


def prepared(**settled: object) -> Prepared:
    return prepare_job(
        load_job(SAMPLES / "coupon.toml"), SAMPLES, Known(settled=Settled(**settled))
    )  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def measured() -> Prepared:
    """T2 cuts 5.5, T1 3.9."""
    return prepared(coupon_diameter={2: 5.5, 1: 3.9})


def program(job: Prepared, name: str) -> Program:
    (made,) = programs(next(work for work in job.works if work.name == name))
    return made


def low_places(made: Program) -> shapely.MultiPoint:
    """Ends of all cuts at the lowest height."""
    moves = [move for one in made.passes for move in one.moves if move.kind != Kind.RAPID]
    low = min(move.z for move in moves)
    return shapely.MultiPoint([(move.x, move.y) for move in moves if move.z < low + 1e-6])


def farthest(made: Program, x: float, y: float) -> float:
    return max(math.hypot(point.x - x, point.y - y) for point in low_places(made).geoms)


def test_a_plug_comes_out_too_small_by_what_the_cutter_is(measured: Prepared) -> None:
    """7 less half of 5.5 is 4.25; with the listed 6 it was 4: the plug would be 13.5 wide."""
    assert farthest(program(measured, "plug-pockets"), -66.0, 7.0) == pytest.approx(4.25, abs=0.004)
    assert farthest(program(prepared(), "plug-pockets"), -66.0, 7.0) == pytest.approx(
        4.0, abs=0.004
    )


def test_the_groove_comes_out_too_narrow(measured: Prepared) -> None:
    """The middle of the cutter comes to 2.75 from either wall, and no nearer."""
    ring = measured.board.ring
    places = low_places(program(measured, "groove"))
    inside = [point for point in places.geoms if ring.contains(point)]
    for wall in (ring.exterior, ring.interiors[0]):
        assert min(wall.distance(point) for point in inside) == pytest.approx(2.75, abs=0.004)


def test_seat_and_bore_come_out_too_small(measured: Prepared) -> None:
    """In B the insert lies at (34, 5). The bore: 3.35 less 1.95 is 1.4; the seat: 7.6 less 1.95 is
    5.65."""
    moves = [
        m for one in program(measured, "inserts").passes for m in one.moves if m.kind != Kind.RAPID
    ]
    assert max(math.hypot(m.x - 34.0, m.y - 5.0) for m in moves) == pytest.approx(5.65, abs=0.004)
    assert farthest(program(measured, "inserts"), 34.0, 5.0) == pytest.approx(1.4, abs=0.004)


def test_the_operator_does_not_find_the_cutter(measured: Prepared) -> None:
    """It is the 6 mm one on the shelf: both diameters are named."""
    cutter = program(measured, "groove").cutter
    assert (cutter.diameter, cutter.listed) == (5.5, 6.0)
    assert MM.text(cutter.describe()) == "T2 flat D5.5 (listed as 6)"
    assert "listed" not in program(prepared(), "groove").cutter.describe()
    facing = next(work.cutter for work in measured.works if work.name == "skim")
    assert (facing.diameter, facing.measured) == (20.0, False)


def test_the_folder_reads_back_with_another_cutter(measured: Prepared) -> None:
    """`job.resolved.json` keeps the listed diameter and the record, which gives the measured one
    again."""
    listed = {cutter.number: cutter.diameter for cutter in measured.resolved.cutter}
    assert (listed[1], listed[2]) == (4.0, 6.0)
    again = prepare_job(measured.resolved, SAMPLES, Known.from_dict(measured.known.as_dict()))
    assert {c.number: c.diameter for c in again.job.cutter}[2] == 5.5
    assert again.digest == measured.digest


def test_registration_counts_the_cutters_error_twice_or_not_at_all() -> None:
    """Half of ± 0.03 at a wall; ± 0.03 by the gauge only where every flat cutter is known. The
    coupon lists T1 to T3.

    A groove 0.10 too wide, by a cutter 0.10 too large: the paths make up for it, nothing is left to
    count.
    """

    def edge(**settled: object) -> tuple[float, float]:
        job = prepared(**settled)
        found = registered(job.stackup, job.board)[0].left
        return found.nominal, found.parts["cutter diameter"].sensitivity * found.parts[
            "cutter diameter"
        ].high

    tolerances = load_job(SAMPLES / "coupon.toml").tolerances
    plain, error = edge()
    assert error == pytest.approx(tolerances.cutter_diameter / 2)
    assert edge(coupon_diameter={2: 6.1})[1] == pytest.approx(error)
    gauge = min(tolerances.gauge, tolerances.cutter_diameter)
    assert edge(coupon_diameter={1: 4.0, 2: 6.1, 3: 20.0})[1] == pytest.approx(gauge / 2)
    width = {"coupon_groove_width": 11.1, "coupon_groove_nominal": 11.0}
    assert edge(**width)[0] == pytest.approx(plain + 0.05)
    assert edge(**width, coupon_diameter={2: 6.1})[0] == pytest.approx(plain)


def test_a_drill_is_bored_larger_by_a_path() -> None:
    """Its hole is as large as the drill, whatever the path: the record refuses it instead of doing
    nothing."""
    job = load_job(SAMPLES / "coupon.toml")
    drill = job.cutter[0].model_copy(update={"number": 9, "shape": "drill", "diameter": 5.0})
    job = job.model_copy(update={"cutter": (*job.cutter, drill)})
    with pytest.raises(InputError, match="is a drill"):
        Record().add(Entry("coupon-diameter", cutter=9, value=5.05), facts_of(job, "c"))
    assert job.with_cutters({9: 5.05}).cutter[-1].diameter == 5.0


def test_a_seat_cut_too_deep_is_judged_as_planned() -> None:
    """Flange 1.2, recess 0.3: 1.5 is planned. Measured 1.7 the flange lies 0.5 below the face, ±
    0.03 by the gauge, the barrel's end 0.2 nearer to the deck, and so the wood over the seat 0.2
    less."""
    plain, deep = prepared(), prepared(seat_depth={"I1": 1.7})

    def check(job: Prepared, name: str) -> tuple[float, float]:
        found = next(one for one in job.checks if one.id == name)
        return found.value, found.worst

    assert check(deep, "seat") == (pytest.approx(0.5), pytest.approx(0.47))
    for name in ("wood-over-seat", "barrel"):
        assert check(deep, name)[0] == pytest.approx(check(plain, name)[0] - 0.2)
    assert deep.stackup.table.inserts["I1"].barrel.nominal == pytest.approx(1.7 - 1.2 + 5.5)


def test_a_bore_as_measured_is_drawn_as_planned() -> None:
    assert prepared(bore_depth={"I1": 6.9}).stackup.table.inserts[
        "I1"
    ].bore.nominal == pytest.approx(6.9)
