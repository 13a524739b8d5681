"""What is left after each set-up of the small plan, against its own numbers."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from shapely import box

from corepath.readback.surfaces.left import measure_edge
from corepath.readback.surfaces.measures import MeasureList, spread
from corepath.reported import reported
from corepath.stock.material import Stock


@pytest.fixture(scope="module")
def read(plan):
    return plan.with_shop(outline=box(-30, -18, 30, 18)).read()


def test_wood_under_and_over_is_that_of_the_depths(read):
    """A floor, a seat or a deck measured wrongly would send a thin core to the press."""
    floor = read.of("groove wood under", "after A")
    assert floor.value == pytest.approx(read.of("groove floor low").value, abs=1e-4)
    over = read.of("I1 wood over", "after C")
    thinnest = read.of("board thinnest", "after C")
    assert over.where is not None and thinnest.where is not None
    assert thinnest.value <= over.value
    assert sum(dict(floor.extra)["counts"]) > 100


def test_wood_under_is_measured_before_a_flush_too(plan):
    """Resin poured 0.4 proud and planed level in A: the floors lie 1.2 above the bed, as cut."""
    skim = plan.works[3]
    level = replace(
        skim, order=4, setup="A", name="flush", facing=replace(skim.facing, planes=(12.0,))
    )
    pour = {name: replace(one, below=-0.4) for name, one in plan.shop.pour.items()}
    found = replace(plan, works=(*plan.works, level)).with_shop(pour=pour).read()
    for name in pour:
        under = [one for one in found.measures if one.id == f"{name} wood under"]
        assert [one.value for one in under] == [pytest.approx(1.2, abs=1e-5)]


def test_each_pass_says_where_most_wood_lies_over_the_casting(read):
    """The shop looks at the place that shows last, and must be told which it is."""
    first, last = (
        read.of("groove shows", "05-B-skim-pass-1.nc"),
        read.of("groove shows", "05-B-skim-pass-3.nc"),
    )
    assert first.value < 1.0 and first.where is not None and "of wood over it" in first.message
    assert last.value == 1.0 and last.where is None


def test_the_map_has_the_least_of_each_square(read):
    """An average would hide a hole in the floor; JSON must take it as it is."""
    (after_a,) = [one for one in reported(read)["left"] if one["setup"] == "A"]
    left = read.remaining["A"]
    wood = left.wood[1] - left.wood[0]
    shown = [value for row in after_a["wood"] for value in row if value is not None]
    assert min(shown) == pytest.approx(float(np.nanmin(wood)), abs=6e-4)
    assert len(after_a["wood"][0]) * after_a["px"] == pytest.approx(left.grid.px * left.grid.nx)
    json.dumps(after_a, allow_nan=False)


def test_an_edge_with_a_gap_in_its_casting_is_told():
    """Where the trim would lay wood bare the least height is 0, with the place."""
    stock = Stock(80, 60, 12, 0.5)
    board = box(-25, -20, 25, 20)
    x, y = np.meshgrid(stock.grid.xs, stock.grid.ys)
    ring = (np.maximum(np.abs(x) - 25, np.abs(y) - 20) < 4) & (
        np.maximum(np.abs(x) - 25, np.abs(y) - 20) > -4
    )
    stock.carve(ring & ~((x > 0) & (np.abs(y) < 5)), 2.0)
    stock.pour(ring, 0.5)
    measures = MeasureList("x")
    measure_edge(stock, board, {"ring": ring}, measures)
    least, bare = measures
    assert least.value == 0.0 and least.where is not None
    assert least.where[0] > 24 and abs(least.where[1]) <= 5.5
    assert bare.value == pytest.approx(10 / 180, abs=0.02)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_bars_hold_other_values_than_numpys_histogram_has_in_them(kind):
    """A column on the edge of two bars counted twice, or in neither: a flat face lies on one."""
    drawn = np.random.default_rng(11).normal(12.0, 0.01, 3000)
    whole = np.round(drawn, 2)
    flat = np.full(500, 12.9)
    for values in (drawn, whole, flat, np.linspace(11.0, 12.2, 13), drawn[:1]):
        values = values.astype(kind)
        edges, counts = (dict(spread(values))[key] for key in ("edges", "counts"))
        held, _ = np.histogram(values.astype(np.float64), bins=np.array(edges))
        assert counts == tuple(held) and sum(counts) == len(values)
