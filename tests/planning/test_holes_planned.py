"""Holes from job to files: which cutter makes which, the list in the report, the spoil board under
them."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import shapely

from corepath.caching.folder_store import store_of
from corepath.cli.tables.hole_table import hole_table
from corepath.job.load import load_job
from corepath.job.model import CutterSection, DowelSection, Job, LimitsSection
from corepath.motion.cutter import Cutter
from corepath.motion.cycles import CYCLES
from corepath.operations.bores.drilling import DEEP, PECK
from corepath.operations.entries import ABOVE
from corepath.planning.plan import Plan, plan
from corepath.planning.prepare import prepare_job
from corepath.planning.report.hole_list import hole_list
from corepath.work.cutting.running import TURN_ALLOWANCE, TURN_SHARE, turn_allowance
from corepath.work.works import Pocket, Work, point_of

SAMPLES = Path(__file__).parents[2] / "samples"


def drill(number: int, diameter: float, long: float = 60.0) -> CutterSection:
    return CutterSection(
        number=number,
        shape="drill",
        diameter=diameter,
        cutting_length=long,
        stick_out=long + 10,
        chip_load=0.1,
        rpm=8000,
    )


def changed(
    job: Job, cutters: tuple[CutterSection, ...] = (), through: bool = False, **machine: Any
) -> Job:
    inserts = tuple(entry.model_copy(update={"through": through}) for entry in job.insert)
    more = {"insert": inserts, "cutter": (*job.cutter, *cutters)}
    return job.model_copy(update={**more, "machine": job.machine.model_copy(update=machine)})


@pytest.fixture(scope="module")
def coupon() -> Job:
    return load_job(SAMPLES / "coupon.toml")


@pytest.fixture(scope="module")
def bore(coupon: Job) -> float:
    return coupon.insert[0].barrel + coupon.insert[0].clearance


@pytest.fixture(scope="module")
def drilled(coupon: Job, bore: float) -> Plan:
    job = changed(
        coupon,
        (drill(21, bore), drill(22, coupon.dowel[0].diameter)),
        through=True,
        canned_cycles=True,
    )
    return plan(prepare_job(job, SAMPLES), store=store_of())


def holes_of(job: Job, name: str) -> list[Work]:
    return [work for work in prepare_job(job, SAMPLES).works if work.name == name]


def test_drills_get_files_of_their_own_and_read_back_clean(drilled: Plan) -> None:
    """A bore drilled by the seat's cutter, at another depth, or where nobody looked."""
    assert [str(finding) for finding in drilled.findings] == []
    assert [check.message for check in drilled.checks if check.verdict == "fail"] == []
    files = {one.name: one for one in drilled.made}
    assert files["01-A-dowels.nc"].program.cutter.number == 22
    assert files["06-B-inserts.nc"].program.cutter.shape == "flat"
    assert files["06-B-inserts-2.nc"].program.cutter.number == 21
    for name in ("01-A-dowels.nc", "06-B-inserts-2.nc"):
        assert any(move.kind in CYCLES for move in files[name].program.moves)
        rows = files[name].text.splitlines()
        # Where holes break through, plain motions follow each cycle: each needs its G80 first.
        starts = [k for k, row in enumerate(rows) if row.startswith(("G81", "G83"))]
        assert starts and all(rows[k - 1] == "G99" and rows[k + 1] == "G80" for k in starts)
        assert any("full diameter" in watch for watch in files[name].program.watch)


def test_without_cycles_the_bores_are_milled(coupon: Job, bore: float) -> None:
    """A file for a drill on a machine that would have to be told each stroke; a change of cutter
    for nothing."""
    assert [work.part for work in holes_of(changed(coupon, (drill(21, bore),)), "inserts")] == [1]
    cutters = (drill(21, bore), drill(22, coupon.dowel[0].diameter))
    works = holes_of(changed(coupon, cutters), "dowels")
    assert [work.cutter.shape for work in works] == ["flat"]


def test_a_drill_of_another_size_or_too_short_is_left_alone(coupon: Job, bore: float) -> None:
    """A hole a tenth too wide, or a drill that ends in the wood."""
    for cutter in (drill(21, bore + 0.1), drill(21, bore, long=3.0)):
        works = holes_of(changed(coupon, (cutter,), canned_cycles=True), "inserts")
        assert [work.cutter.shape for work in works] == ["flat"]
        assert all(len(hole.steps) == 2 for hole in works[0].holes)


def test_dowels_of_two_sizes_are_drilled_by_two_drills(coupon: Job) -> None:
    """The larger hole drilled with the smaller drill, or refused although its drill is listed."""
    first, second, *rest = coupon.dowel
    dowels = (first, DowelSection(**{**second.model_dump(), "diameter": 6.0}), *rest)
    job = changed(coupon, (drill(21, 5.0), drill(22, 6.0)), canned_cycles=True).model_copy(
        update={"dowel": dowels}
    )
    works = holes_of(job, "dowels")
    assert [(work.stem, work.cutter.diameter) for work in works] == [
        ("01-A-dowels", 5.0),
        ("01-A-dowels-2", 6.0),
    ]
    assert [[hole.id for hole in work.holes] for work in works] == [["dowel 1"], ["dowel 2"]]


def test_the_list_tells_each_hole_in_the_board_frame(drilled: Plan) -> None:
    """A shop that drills by hand where the paper says must meet the same place."""
    listed = {hole["id"]: hole for hole in drilled.report["holes"]}
    board = drilled.prepared.board
    assert list(listed) == [f"dowel {k}" for k in range(1, len(board.dowels) + 1)] + [
        p.id for p in board.places
    ]
    for place in board.places:
        hole = listed[place.id]
        assert hole["at"] == pytest.approx([place.x, place.y], abs=1e-4)
        assert hole["lies"] == pytest.approx([place.x, -place.y], abs=1e-4)
        assert hole["seat"]["diameter"] == pytest.approx(place.seat.diameter, abs=1e-4)
        assert hole["seat"]["depth"] == pytest.approx(
            place.insert.flange_thickness + place.insert.recess, abs=1e-4
        )
        assert hole["bore"]["diameter"] == pytest.approx(place.bore, abs=1e-4)
        assert (hole["seat"]["file"], hole["bore"]["file"]) == (
            "06-B-inserts.nc",
            "06-B-inserts-2.nc",
        )
        assert hole["ends"] == "in the spoil board" and "G8" in hole["bore"]["made"]
        assert hole["seat"]["made"] == "helical bore, finishing pass"
    table = hole_table(drilled.results.lists.holes)
    assert all(hole in table for hole in ("dowel 1", board.places[0].id)) and "(G83)" in table
    assert max(len(row) for row in table.splitlines()) <= 80
    assert hole_table([]) == ""


def test_wood_over_a_seat_is_measured_under_a_drilled_bore_too(drilled: Plan) -> None:
    """Seat and bore come from two files: an insert that nobody looks over could shine through."""
    assert drilled.readback is not None
    (over,) = [one for one in drilled.readback.measures if one.id == "I1 wood over"]
    # The flange reaches 7.6 mm out, where the deck is lowest, 5.95; columns of the blank stand from
    # 0.36 to 1.07 mm within, where it is 6.04 to 6.26. The seat is 1.2 + 0.3 deep.
    assert 6.04 - 1.5 < over.value < 6.26 - 1.5 + 0.05


def test_a_seat_that_is_milled_as_a_pocket_is_listed_with_its_bore(drilled: Plan) -> None:
    """A square seat that no list names is cut by nobody who works from paper."""
    prepared = drilled.prepared
    seats, bores = (work for work in prepared.works if work.name == "inserts")
    hole = seats.holes[0]
    x, y, floor = hole.x, hole.y, hole.steps[0].floor
    square = Pocket("I1", shapely.box(x - 7, y - 7, x + 7, y + 7), hole.top, floor)
    works = (replace(seats, holes=(), pockets=(square,)), bores)
    (listed,) = hole_list(replace(prepared, works=works))
    assert listed.seat is not None and listed.bore is not None
    assert (listed.seat.diameter, listed.seat.depth, listed.seat.made) == (14.0, 1.5, "pocket")
    assert listed.bore.file == "06-B-inserts-2.nc"
    assert listed.at == pytest.approx((34.0, -5.0), abs=1e-4)


def test_spoil_board_is_measured_to_the_point_of_the_drill(coupon: Job) -> None:
    """A table drilled into; a limit that counts the wrong depth."""
    deep = max(dowel.depth_in_bed for dowel in coupon.dowel)
    job = changed(coupon, (drill(22, 5.0),), canned_cycles=True)
    (work,) = holes_of(job, "dowels")
    point = point_of(work.cutter)
    tolerances = job.tolerances

    def judged(board: float) -> Any:
        blank = job.blank.model_copy(update={"spoil_board": board})
        checks = prepare_job(job.model_copy(update={"blank": blank}), SAMPLES).checks
        return next(check for check in checks if check.id == "spoil-board")

    check = judged(18.0)
    assert check.verdict == "ok"
    assert check.value == pytest.approx(18.0 - deep - point)
    assert check.worst == pytest.approx(
        check.value - tolerances.touch - tolerances.machine - tolerances.bed
    )
    tight = judged(deep + point + 1.9)
    assert tight.verdict == "fail" and "dowel.depth_in_bed" in tight.fix
    assert judged(deep + point + 2.2).verdict == "ok"


def test_a_through_bore_counts_from_the_latest_stop(coupon: Job) -> None:
    """The bore hangs on the skimmed face: after the latest stop it ends deeper in the board."""
    job = changed(coupon, through=True)
    prepared = prepare_job(job, SAMPLES)
    skim = prepared.stackup.skim
    into = skim.thickest_plane - skim.lowest_plane + job.milling.into_bed
    blank = job.blank.model_copy(update={"spoil_board": into + 1.5})
    dowels = tuple(dowel.model_copy(update={"depth_in_bed": 0.5}) for dowel in job.dowel)
    tight = prepare_job(job.model_copy(update={"blank": blank, "dowel": dowels}), SAMPLES)
    check = next(check for check in tight.checks if check.id == "spoil-board")
    assert check.verdict == "fail" and "milling.into_bed" in check.fix
    assert check.value == pytest.approx(1.5)


def test_no_hole_through_no_check(coupon: Job) -> None:
    """Dowels pass through always, so the check is there always; it names the deepest."""
    checks = [check for check in prepare_job(coupon, SAMPLES).checks if check.id == "spoil-board"]
    assert len(checks) == 1 and checks[0].where.startswith("dowel")


def test_figures_of_the_guide_are_those_of_the_code() -> None:
    """A page that promises another turn, point or peck than the files have."""
    text = (SAMPLES.parent / "docs" / "holes.md").read_text(encoding="utf-8")
    assert (
        f"It takes {TURN_ALLOWANCE:g}, a tenth of the radius" in text
        and pytest.approx(0.1) == TURN_SHARE
    )
    pitch = 2 * math.pi * (0.9 - turn_allowance(0.2, 0.9)) * math.tan(math.radians(3.0))
    assert f"3 degrees falls {pitch:.2f} a turn" in text
    assert (DEEP, PECK, ABOVE) == (3.0, 1.0, 1.0)
    assert "up to three diameters of depth" in text and "pecks of one diameter" in text
    assert point_of(Cutter(1, "drill", 1.0, 0.0, 2, 1.0, 1.0)) == pytest.approx(0.3, abs=1e-3)
    assert LimitsSection().under_holes == 2.0 and "wants 2 (`limits.under_holes`)" in text
