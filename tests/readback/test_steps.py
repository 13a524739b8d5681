"""What the read-back keeps of each file for whoever shows it."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from corepath.motion.clock import Limits
from corepath.readback.cut_stages import cut_stages
from corepath.readback.foreign.timing import motion_seconds, time_path
from corepath.readback.measure import read_back
from corepath.readback.plan_files import PlanFiles
from corepath.readback.steps import MOST_COLUMNS, few, thinned
from corepath.stock.material import NOWHERE, Grid, Stock

LIMITS = Limits(6000.0, 500.0, 0.02)


@pytest.fixture(scope="module")
def found(plan_maker):
    """Zeroed on the face at the corner, so that a zero left out shows."""
    plan = plan_maker("x", "front-left", "face")
    return read_back(plan.shop, plan.works, PlanFiles(plan.files), steps=True)


def same(one, other) -> bool:
    faces = zip((*one.wood, *one.casting), (*other.wood, *other.casting), strict=True)
    return all(np.array_equal(a, b, equal_nan=True) for a, b in faces)


def test_each_file_begins_where_the_one_before_ended(found):
    """Else the preview shows wood that is gone, or none where some is; the combined file starts
    from the raw bottom."""
    steps = {step.file: step for step in found.steps}
    assert found.counts == {} and len(steps) == 9
    order = ["01-A-dowels.nc", "02-A-plug-pockets.nc", "03-A-groove.nc"]
    for one, other in pairwise(order):
        assert same(steps[one].after, steps[other].before)
    assert same(steps["03-A-groove.nc"].after, found.remaining["A"]) and same(
        steps["08-C-deck.nc"].after, found.remaining["C"]
    )
    assert same(steps["05-B-skim-all.nc"].before, steps["05-B-skim-pass-1.nc"].before)
    assert same(steps["06-B-inserts.nc"].before, steps["05-B-skim-pass-2.nc"].after)
    assert all(not same(step.before, step.after) for step in found.steps)


def test_motions_lie_on_the_bed_by_the_zero_kept(found):
    """Motions less the zero are what the file says: the first height of the groove's file is its
    safe height."""
    step = next(step for step in found.steps if step.file == "03-A-groove.nc")
    assert step.zero[0] < 0 and step.zero[2] == pytest.approx(np.nanmax(step.before.top))
    assert np.allclose(step.path.end - step.zero, step.path.program.end[step.path.index])


def test_stages_cut_what_the_file_cut(found):
    """Each stage leaves under the cutter no more than its tip, and all of them together just what
    the read-back left: the preview must not show another cut than was judged."""
    for step in found.steps:
        motions = len(step.path.kind)
        ends = np.unique(np.linspace(0, motions - 1, 7).astype(np.int64))
        top = np.nan_to_num(step.before.top, nan=NOWHERE)
        for stage, last in zip(cut_stages(step, ends), ends, strict=True):
            assert stage.last == last and (np.diff(stage.columns) > 0).all()
            assert (stage.tops < top.ravel()[stage.columns]).all()
            top.ravel()[stage.columns] = stage.tops
            x, y, z = step.path.end[last]
            under = step.before.grid.near(x, y, step.path.cutter.radius / 2)
            assert (top[under] <= z + step.path.cutter.radius + 1e-4).all()
            if step.path.cutter.shape == "flat":
                assert (top[under] <= z + 1e-4).all(), (step.file, last)
        left, gone = step.after.top, np.isnan(step.after.top)
        assert np.array_equal(top[~gone], left[~gone]), step.file
        assert (top[gone] <= np.nan_to_num(step.before.bottom[gone]) + 1e-4).all()


def test_nothing_is_kept_unasked(plan):
    assert plan.read().steps == ()


def test_every_nth_column_as_it_stands():
    """An average would show a wall that nothing cut; and a large blank must stay small."""
    grid = Grid.over(1400.0, 480.0, 0.5)
    thin, pick = few(grid)
    assert thin.nx * thin.ny <= MOST_COLUMNS and thin.px == pytest.approx(3 * grid.px)
    assert np.allclose(grid.xs[pick[1]], thin.xs) and np.allclose(grid.ys[pick[0]], thin.ys)
    stock = Stock(20.0, 10.0, 5.0)
    stock.carve(stock.grid.near(3.0, 1.0, 2.0), -1.0)
    kept = thinned(stock, "A")
    assert np.isnan(kept.top).any() and set(np.unique(kept.wood[1][np.isfinite(kept.wood[1])])) == {
        5.0
    }


def test_times_of_motions_are_those_of_the_file(found):
    """The preview's clock and the minutes told of a file must not part."""
    for step in found.steps:
        spent, counted = motion_seconds(step.path, LIMITS)
        told = time_path(step.path, LIMITS)
        assert counted.all() and spent.sum() / 60 == pytest.approx(
            told.feed + told.rapid, rel=1e-12
        )
