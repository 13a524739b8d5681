"""Checks of set-up D on a flat board with straight sides, whose distances can be counted by hand.

The outline is 120 x 40 in the coupon's blank of 240 x 90; the trim's cutter is 6 wide, it leaves
0.3 for its finishing lap and 0.5 outside the outline: a slot from 0.5 to 6.8 outside it. The cradle
is 20 high.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from corepath.errors import CorepathError
from corepath.job.load import load_job
from corepath.job.model import (
    Job,
    LayupSection,
    ObstacleSection,
    OutlineSection,
    SkinSection,
    TrimSection,
)
from corepath.lengths import INCH, Said
from corepath.operations import programs
from corepath.planning.make import make_files
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.proving.reading import shop_of
from corepath.planning.report.after_layup import layup_cautions, layup_report
from corepath.planning.template_files import template_of
from corepath.readback.measure import read_back
from corepath.readback.plan_files import PlanFiles
from corepath.stackup.checks.verdict import Check

SAMPLES = Path(__file__).parents[2] / "samples"
SIDES = ((-60.0, -20.0), (60.0, -20.0), (60.0, 20.0), (-60.0, 20.0))


def board(
    trim: dict[str, Any] | None = None, obstacle: ObstacleSection | None = None, **layup: Any
) -> Job:
    job = load_job(SAMPLES / "coupon.toml")
    plug = job.plug[0].model_copy(update={"at": ((-30.0, 5.0),)})
    given = {"cradle": True, "skin_below": 0.7, "skin_above": 0.9, "cradle_height": 20.0, **layup}
    update = {
        "outline": OutlineSection(points=SIDES),
        "plug": (plug,),
        "layup": LayupSection(**given),
        "trim": TrimSection(**{"allowance": 0.5, "finish": 0.3, "web": 0.6, **(trim or {})}),
        "obstacle": (obstacle,) if obstacle else (),
    }
    return job.model_copy(update=update)


def prepared(job: Job) -> Prepared:
    return prepare_job(job, SAMPLES)


def check(job: Job, name: str) -> Check:
    return next(one for one in prepared(job).checks if one.id == name)


WEBS = {
    "skins lap onto the rim as the template draws them": ({}, {}, 6.0, "ok"),
    "skins end 0.2 beyond the slot": ({}, {"skin_outside": 7.0}, 0.2, "fail"),
    "skins end short of the slot": ({}, {"skin_outside": 5.0}, -1.8, "fail"),
    "just enough": ({}, {"skin_outside": 9.8}, 3.0, "ok"),
    "a web of wood holds as far as the blank, 25 outside the outline": (
        {"web": 1.3},
        {"skin_outside": 5.0},
        18.2,
        "ok",
    ),
    "no laminate: the blank holds": ({}, {"skin_below": 0.0, "skin_outside": 0.0}, 18.2, "ok"),
    "the blank's edge comes before the skin's": ({"allowance": 17.0}, {}, 1.7, "fail"),
    "a lap in the air": ({"allowance": 40.0}, {}, -21.3, "fail"),
}


@pytest.mark.parametrize("name", WEBS)
def test_the_web_must_hang_on_something_beyond_the_slot(name: str) -> None:
    trim, layup, lap, verdict = WEBS[name]
    found = check(board(trim, **layup), "web")
    assert (found.value, found.verdict) == (pytest.approx(lap, abs=0.002), verdict)
    if verdict == "fail":
        assert found.fix.endswith(
            "(layup.skin_outside)" if "skin_outside" in layup else "larger on that side"
        )


def test_the_flat_template_draws_the_skins_that_the_check_counts_on() -> None:
    """6.8 of slot and 6 of lap: 12.8 outside a half width of 20, round at the corners; but never
    beyond the blank."""
    for trim, half in (({}, 32.8), ({"allowance": 15.0}, 45.0)):
        job = prepared(board(trim))
        (edge,) = [
            shape for shape in template_of(job, flat=True).shapes if shape.layer == "skin edge"
        ]
        assert edge.points[:, 1].max() == pytest.approx(half, abs=0.002)
    assert any(
        "12.80 mm beyond the outline" in line
        for line in template_of(prepared(board()), flat=True).message
    )


def clamp(height: float, near: float) -> ObstacleSection:
    return ObstacleSection(
        points=((-10.0, near), (10.0, near), (10.0, near + 8.0), (-10.0, near + 8.0)),
        height=height,
        setups=("D",),
    )


BESIDE = {
    # the tip's lowest is 20.6 above the bed; the roughing lap's axis runs 20 + 0.5 + 3 + 0.3 = 23.8
    # from the middle
    "lower than the tip goes": (20.5, 22.0, None),
    "higher, 0.1 clear of the cutter": (20.7, 26.9, 0.1),
    "higher, 0.1 in its way": (20.7, 26.7, -0.1),
    # stick-out 32: the collet, 40 wide, comes down to 52.6 above the bed
    "lower than the collet comes": (52.5, 30.0, 3.2),
    "higher, and the collet meets it": (52.7, 43.7, -0.1),
}


@pytest.mark.parametrize("name", BESIDE)
def test_an_obstacle_in_d_counts_from_the_bed_for_check_plan_and_read_back(name: str) -> None:
    """What the check passes, the plan must not refuse; what it fails, no path may pass."""
    height, near, room = BESIDE[name]
    job = prepared(board(obstacle=clamp(height, near)))
    found = [one for one in job.checks if one.id == "obstacles"]
    trim = next(work for work in job.works if work.trim is not None)
    if room is None:
        assert found[0].verdict == "ok" and "bolt-holes" in found[0].message, (
            "the trim passes above it"
        )
    else:
        assert found[0].value == pytest.approx(room, abs=0.002)
    if room is None or room > 0.0:
        programs(trim)
    else:
        assert found[0].verdict == "fail" and f"{-room:.2f} too near" in found[0].message
        with pytest.raises(CorepathError, match="would meet the obstacle 1"):
            programs(trim)


@pytest.mark.whole
def test_read_back_counts_obstacles_from_the_bed_too() -> None:
    """Files planned as if nothing stood there, read against a clamp on either side of the tip's
    height."""
    free = prepared(board())
    files = {made.name: made.text for made in make_files(only_trim(free))}
    for height, kinds in ((20.5, set()), (20.7, {"obstacle"})):
        job = only_trim(prepared(board(obstacle=clamp(height, 26.0))))
        found = read_back(shop_of(job), job.works, PlanFiles(files))
        assert set(found.findings.kinds) == kinds


def only_trim(job: Prepared) -> Prepared:
    return replace(job, works=tuple(work for work in job.works if work.trim is not None))


def test_a_bolt_hole_through_a_low_cradle_goes_into_the_spoil_board() -> None:
    """1 mm into a cradle of 0: 18 - 1 = 17 are left, less touch 0.05, machine 0.03 and bed 0.05."""
    low, high = (
        [
            one
            for one in prepared(board(cradle_height=height)).checks
            if one.id == "spoil-board" and "P1" in one.message
        ]
        for height in (0.0, 20.0)
    )
    assert high == []
    assert (low[0].value, low[0].worst) == (pytest.approx(17.0), pytest.approx(16.87))


def test_stations_that_do_not_span_the_board_are_told() -> None:
    def cautions(*rocker: tuple[float, float]) -> tuple[str, ...]:
        job = prepared(board(rocker=rocker))
        return tuple(Said(caution) for caution in layup_cautions(job.job, job.board))

    assert cautions((-60.0, 1.0), (0.0, 0.0), (60.0, 1.0)) == ()
    (both,) = cautions((-30.0, 0.3), (0.0, 0.0), (30.0, 0.3))
    # the form is longer than the core, 0.7 + 4.0 above it, by 4.7 x the turn of 0.02
    assert "from X-30 to X30" in both and "X-60.1 and X60.1" in both
    (one,) = cautions((-70.0, 1.0), (0.0, 0.0), (30.0, 0.3))
    assert "board to X60" in one


def test_the_report_says_where_the_drill_goes() -> None:
    """The plug's middle lies off where its deck does once the board tilts: the drill's place is
    that of the file."""
    job = prepared(board(rocker=((-120.0, 14.0), (0.0, 0.0), (120.0, 14.0))))
    report = layup_report(job.job, job.board, job.works)
    assert report is not None
    (bolt, *_) = report["bolts"]
    hole = next(hole for work in job.works if work.name == "bolt-holes" for hole in work.holes)
    assert bolt["at"][:2] == pytest.approx([hole.x, hole.y], abs=1e-4)
    assert abs(bolt["deck_at"][0] - bolt["at"][0]) > 0.1
    # lowest of the form at rise 0, the cradle 20 high under it
    assert report["bed"] == pytest.approx(-20.0, abs=1e-6)


def test_an_inch_job_reads_its_web_in_inches() -> None:
    """6.8 mm are 0.2677 in, 12.8 are 0.5039: a figure in mm beside others in inches is read as
    inches."""
    found = check(board(skin_outside=12.8), "web")
    assert "6.80 outside" in found.message and "0.2677 outside" in INCH.text(found.message)
    assert "0.5039 beyond" in INCH.text(found.message)


def test_template_report_and_study_of_the_skin_agree_how_far_it_reaches() -> None:
    """The slot ends 6.8 outside the outline and laminates lap 6 onto the rim: 12.8, and a board of
    120 by 40 carries a skin of 145.6 by 65.6."""
    skin = SkinSection.model_validate(
        {
            "thickness": 0.4,
            "modulus": 20.0,
            "pressure": 0.8,
            "strain_limit": 0.004,
            "covers": "board",
        },
        context={"scale": 1.0},
    )
    ready = prepared(board().model_copy(update={"skin": skin}))
    assert ready.skin is not None
    cover = ready.skin.study.cover
    assert (cover.half_x, cover.half_y) == pytest.approx((72.8, 32.8), abs=0.001)
    edge = next(s for s in template_of(ready, flat=True).shapes if s.layer == "skin edge")
    assert np.abs(edge.points).max(axis=0) == pytest.approx((72.8, 32.8), abs=0.001)
    report = layup_report(ready.job, ready.board, ready.works)
    assert report is not None and report["skin_outside"] == pytest.approx(12.8)
