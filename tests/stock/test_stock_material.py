"""The virtual blank against closed forms (elementary geometry) and against a slow loop that stamps
points."""

from __future__ import annotations

import itertools
import math
from dataclasses import astuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, box

from corepath.gcode.read.arcs import flatten
from corepath.motion.cutter import Cutter
from corepath.readback.surfaces.walls import rings_of
from corepath.stock.contact_kernels import Underside, lowest_offset, rise
from corepath.stock.cut_memory import CutMemory
from corepath.stock.material import NOWHERE, Grid, Stock

SHAPES = {"flat": 0.0, "bull": 1.5, "ball": 4.0}
RADIUS = 4.0


def cut(stock: Stock, points: list[tuple[float, float, float]], radius: float, corner: float):
    """Cut along straight lines through the points."""
    places = np.array(points, dtype=float)
    count = len(places) - 1
    return stock.cut(
        places[:-1],
        places[1:],
        np.arange(count, dtype=np.int64),
        count,
        Underside(radius, corner, radius - corner),
    )


def arc(stock: Stock, start, end, centre, radius: float, corner: float = 0.0, kind: int = 3):
    """Cut one arc."""
    pieces = flatten(
        np.array([kind], dtype=np.int8),
        np.array([start], float),
        np.array([end], float),
        np.array([centre], float),
        0.0005,
    )
    return stock.cut(*pieces, 1, Underside(radius, corner, radius - corner))


def stamped(stock: Stock, points, cutter: Cutter, steps: int = 4000) -> np.ndarray:
    """Tops after the cutter is stamped at many places along the path, column by column."""
    tops = stock.top.astype(float).copy()
    xs, ys = stock.grid.xs, stock.grid.ys
    flat = cutter.radius - cutter.corner_radius
    for a, b in itertools.pairwise(points):
        for t in np.linspace(0.0, 1.0, steps):
            x, y, z = (p + (q - p) * t for p, q in zip(a, b, strict=True))
            d = np.hypot(xs[None, :] - x, ys[:, None] - y)
            e = np.maximum(d - flat, 0.0)
            rise = cutter.corner_radius - np.sqrt(np.maximum(cutter.corner_radius**2 - e**2, 0.0))
            tops = np.where(d <= cutter.radius, np.minimum(tops, z + rise), tops)
    return tops


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize(
    "path",
    [
        [(-8, -3, 6), (9, 4, 6)],
        [(-8, -3, 8), (9, 4, 5)],
        [(-8, 0.3, 5), (9, 0.3, 8)],
        [(2, -9, 7), (2, 9, 4)],
        [(1, 2, 9), (1, 2, 3)],
        [(0, 0, 9), (0.5, 0.2, 5)],
        [(-27, -5, 6), (-21, -1, 6)],
    ],
)
def test_columns_are_those_of_a_stamping_loop(shape, path):
    """An error of the sweep would hide a gouge. The loop steps 0.005 mm and is never lower than the
    truth."""
    stock = Stock(40, 30, 10, 1.0)
    cutter = Cutter(1, shape, 2 * RADIUS, SHAPES[shape], 2, 20, 30)  # type: ignore[arg-type]
    slow = stamped(stock, path, cutter)
    cut(stock, path, RADIUS, SHAPES[shape])
    fast = stock.top.astype(float)
    edge = np.abs(fast - slow) > 1e-3
    assert edge.sum() <= 2, "only a column within a step of the cutter's edge may differ"
    assert (fast <= slow + 1e-4).all()


@given(st.integers(0, 10**6), st.sampled_from(sorted(SHAPES)))
@settings(derandomize=True, max_examples=25, deadline=None)
def test_no_column_is_lower_or_higher_than_the_cutter_reaches(seed, shape):
    """Any ramp: the minimum over a fine scan of the path, at columns well inside the swept
    strip."""
    random = np.random.default_rng(seed)
    a = np.array([*random.uniform(-10, 10, 2), random.uniform(3, 9)])
    b = np.array([*random.uniform(-10, 10, 2), random.uniform(3, 9)])
    stock = Stock(40, 30, 10, 2.0)
    corner = SHAPES[shape]
    cut(stock, [tuple(a), tuple(b)], RADIUS, corner)
    t = np.linspace(0.0, 1.0, 20001)
    for iy in range(stock.grid.ny):
        for ix in range(stock.grid.nx):
            x, y = stock.grid.place(iy, ix)
            d = np.hypot(a[0] + (b[0] - a[0]) * t - x, a[1] + (b[1] - a[1]) * t - y)
            if not (d <= RADIUS - 0.01).any():
                continue
            e = np.maximum(d - (RADIUS - corner), 0.0)
            rise = corner - np.sqrt(np.maximum(corner**2 - e**2, 0.0)) if corner else 0.0
            scan = np.where(d <= RADIUS, a[2] + (b[2] - a[2]) * t + rise, 10.0).min()
            assert stock.top[iy, ix] == pytest.approx(min(scan, 10.0), abs=3e-3)


def removed(stock: Stock, before: float) -> float:
    return before - stock.volume()


def test_slot_volume():
    """A slot of length l, width 2r and depth d with round ends holds d (2 r l + pi r²)."""
    stock = Stock(80, 40, 12, 0.1)
    before = stock.volume()
    cut(stock, [(-20, 0, 5), (20, 3, 5)], 4.0, 0.0)
    assert removed(stock, before) == pytest.approx(
        7 * (8 * math.hypot(40, 3) + math.pi * 16), rel=5e-4
    )


def test_ball_groove_volume():
    """A groove of a ball sunk to its middle: a half cylinder and a half ball."""
    stock = Stock(80, 40, 12, 0.1)
    before = stock.volume()
    cut(stock, [(-20, 0, 8), (20, 0, 8)], 4.0, 4.0)
    assert removed(stock, before) == pytest.approx(
        math.pi * 16 / 2 * 40 + 2 / 3 * math.pi * 64, rel=5e-4
    )


def test_helical_bore_volume():
    """Two turns down and one on the floor bore a cylinder of the circle's and the cutter's
    radius."""
    stock = Stock(40, 40, 12, 0.1)
    before = stock.volume()
    for top, low in ((12, 8), (8, 4), (4, 4)):
        arc(stock, (2.5, 0, top), (2.5, 0, low), (0, 0), 3.0)
    assert removed(stock, before) == pytest.approx(8 * math.pi * 5.5**2, rel=5e-4)


def test_cone_of_shrinking_circles():
    """Level circles that shrink with depth leave a cone's frustum in steps: midpoint sums of pi
    R²."""
    stock = Stock(60, 60, 12, 0.1)
    before = stock.volume()
    steps = 40
    expected = 0.0
    for k in range(steps):
        depth = 8 * (k + 1) / steps
        reach = 20 - 10 * (k + 0.5) / steps
        for ring in np.arange(reach - 4.0, 0.0, -6.0):
            arc(stock, (ring, 0, 12 - depth), (ring, 0, 12 - depth), (0, 0), 4.0)
        cut(stock, [(-0.01, 0, 12 - depth), (0.01, 0, 12 - depth)], 4.0, 0.0)
        expected += math.pi * reach**2 * 8 / steps
    frustum = math.pi * 8 / 3 * (20**2 + 20 * 10 + 10**2)
    assert expected == pytest.approx(frustum, rel=1e-3)
    assert removed(stock, before) == pytest.approx(frustum, rel=2e-3)


def test_arc_chords_keep_within_their_tolerance():
    """A chord cuts the corner; more than the budget would move a wall."""
    lower, upper, owner = flatten(
        np.array([2, 3, 1], dtype=np.int8),
        np.array([[10.0, 0, 5], [3, 0, 0], [0, 0, 0]]),
        np.array([[0, 10.0, 1], [3, 0, -2], [1, 1, 1]]),
        np.array([[0.0, 0], [0, 0], [0, 0]]),
        0.001,
    )
    middle = np.hypot(*((lower + upper)[:, :2] / 2).T)
    radius = np.array([10.0, 3.0])
    curved = owner < 2
    assert (radius[owner[curved]] - middle[curved] <= 0.001 + 1e-9).all()
    assert np.all(lower[1:][owner[1:] == owner[:-1]] == upper[:-1][owner[1:] == owner[:-1]])
    swept = np.hypot(*(upper - lower)[:, :2].T)
    assert swept[owner == 0].sum() == pytest.approx(10 * 1.5 * math.pi, rel=1e-4), (
        "clockwise takes the long way here"
    )
    assert swept[owner == 1].sum() == pytest.approx(3 * 2 * math.pi, rel=1e-3), (
        "end equals start: full circle"
    )
    assert owner.tolist().count(2) == 1


def test_flip_mirrors_places_and_heights():
    """A wrong sign would bore every seat on the wrong side."""
    for about, place in (("x", (15.0, 6.0)), ("y", (-15.0, -6.0))):
        stock = Stock(60, 40, 10, 0.5)
        cut(stock, [(15, -6, 2), (15.01, -6, 2)], 3.0, 0.0)
        stock.flip(about)  # type: ignore[arg-type]
        iy, ix = stock.grid.at(*place)
        assert stock.wood_bottom[iy, ix] == pytest.approx(8.0)
        assert stock.top[iy, ix] == pytest.approx(10.0)
        assert stock.wood_bottom[stock.grid.at(-place[0], -place[1])] == 0.0


def test_pour_fills_blind_pockets_only_and_shows_when_faced():
    """Resin in a dowel hole, or over the rim, would be a wrong blank."""
    stock = Stock(60, 40, 10, 0.5)
    cut(stock, [(-15, 0, 2), (-14, 0, 2)], 5.0, 0.0)
    cut(stock, [(15, 0, 9), (15, 0, -4)], 5.0, 0.0)
    stock.pour(np.ones_like(stock.top, dtype=bool), 0.5)
    assert stock.height_at(-15, 0) == pytest.approx(9.5)
    assert stock.height_at(0, 15) == pytest.approx(10.0)
    assert stock.height_at(15, 0) == NOWHERE
    stock.flip("x")
    assert stock.height_at(15, 0) == NOWHERE
    assert stock.height_at(-15, 0) == pytest.approx(10.0), "wood lies over the casting"
    cut(stock, [(-40, -15, 7.5), (40, -15, 7.5), (40, 0, 7.5), (-40, 0, 7.5), (-40, 15, 7.5), (40,
        15, 7.5)],
        12.0, 0.0)  # fmt: skip
    iy, ix = stock.grid.at(-15, 0)
    assert not stock.has_wood[iy, ix]
    assert (stock.cast_bottom[iy, ix], stock.cast_top[iy, ix]) == pytest.approx((0.5, 7.5))
    stock.flip("x")
    assert stock.height_at(-15, 0) == pytest.approx(7.0)
    assert stock.highest() == pytest.approx(7.5)


def test_cut_reports_depth_place_and_the_stock_around():
    """Depth below the stock around is what a cutter's edges must span, also where the way is
    free."""
    stock = Stock(60, 40, 10, 0.5)
    first = cut(stock, [(-20, 0, 7), (20, 0, 7)], 3.0, 0.0)
    assert first.removed[0] == pytest.approx(3.0)
    assert first.deep[0] == pytest.approx(3.0)
    again = cut(stock, [(-20, 0, 7), (20, 0, 7), (20, 0, 4)], 3.0, 0.0)
    assert again.removed.tolist() == pytest.approx([0.0, 3.0])
    assert again.deep.tolist() == pytest.approx([3.0, 6.0])
    assert math.hypot(again.where[1, 0] - 20, again.where[1, 1]) <= 3.0


@pytest.mark.parametrize("back", [False, True])
def test_a_level_path_along_x_takes_from_each_share_what_one_a_hair_aslant_takes(back: bool):
    """Rows of the first are lowered share by share, those of the second column by column."""

    def taken(aside: float):
        stock = Stock(97.0, 31.0, 12.0, 0.5)
        stock.carve(stock.grid.near(11.3, 2.0, 9.0), 3.0)  # a hollow, deeper than the path
        stock.carve(stock.grid.near(-20.0, -4.0, 7.0), 9.5)
        ends = [(-60.3, 1.7, 5.2), (44.1, 1.7 + aside, 5.2)]
        return stock, cut(stock, ends[::-1] if back else ends, RADIUS, 0.0)

    (one, level), (other, aslant) = taken(0.0), taken(1e-9)
    assert np.array_equal(one.top, other.top) and len(level.volume) == 14
    assert np.allclose(level.volume, aslant.volume, atol=1e-6) and level.volume.sum() > 4000.0
    assert level.removed[0] == aslant.removed[0] == pytest.approx(6.8)
    # nothing is met before the edge reaches the blank, which ends at 48.5
    assert level.volume[-1 if back else 0] == 0.0 and level.volume[7] > 0.0


def test_what_is_cut_again_is_taken_over_only_where_it_is_just_the_same():
    """Thinner below is the same to a cutter; one column a hair lower, one piece moved by as much,
    another cutter or other motions are not."""
    places = np.random.default_rng(7).uniform((-20, -9, 4), (20, 9, 11), (41, 3))
    lower, upper, owner = places[:-1], places[1:], np.arange(40, dtype=np.int64)
    moved = upper.copy()
    moved[5, 0] = np.nextafter(moved[5, 0], 99.0)

    def blank(thick: float, *, low: bool = False) -> Stock:
        stock = Stock(41.0, 19.0, thick, 0.5)
        stock.carve(np.ones_like(stock.top, dtype=np.bool_), 10.0)
        if low:
            stock.carve(stock.grid.near(3.2, 1.2, 0.3), float(np.nextafter(np.float32(10), 0)))
        return stock

    def taken(stock: Stock, upper=upper, radius=3.0, owner=owner):
        return stock.cut(lower, upper, owner, 40, Underside(radius, 0.0, radius))

    first, memory = blank(12.0), CutMemory(least=1)
    first.memory = memory
    taken(first)
    for stock, changed, again in (
        (blank(12.5), {}, True),
        (blank(12.0, low=True), {}, False),
        (blank(12.0), {"upper": moved}, False),
        (blank(12.0), {"radius": 2.5}, False),
        (blank(12.0), {"owner": owner // 2}, False),
    ):
        anew = stock.copy()
        expected, count = taken(anew, **changed), memory.taken_over
        stock.memory = memory
        found = taken(stock, **changed)
        assert (memory.taken_over > count) is again
        assert np.array_equal(stock.top, anew.top) and np.array_equal(stock.wood_top, anew.wood_top)
        for one, other in zip(astuple(found), astuple(expected), strict=True):
            assert np.array_equal(one, other)


def test_what_a_path_leaves_is_taken_over_only_for_the_same_path_raised():
    """Raised as a whole it leaves as much more; one piece moved or raised alone, another place,
    cutter or end of the path is another question."""
    places = np.random.default_rng(11).uniform((-20, -9, 4), (20, 9, 11), (41, 3))
    lower, upper = places[:-1], places[1:]
    asked = (np.arange(40, dtype=np.int64), places[:, 0].copy(), np.full(41, 7, dtype=np.int64))
    heights, up = np.arange(41.0), np.array([0.0, 0.0, 0.5])

    def left(key=3.0, way=(lower, upper), asked=asked, first=asked):
        """What another path leaves, -1 where it is swept anew."""
        memory = CutMemory(least=1)
        memory.left(3.0, (lower, upper), first, lambda: heights)
        found = memory.left(key, way, asked, lambda: np.full(41, -1.0))
        assert memory.taken_over == (found[1] != -1.0)
        return found

    assert np.array_equal(left(), heights)
    raised = left(way=(lower + up, upper + up))
    assert np.allclose(raised, heights + 0.5, rtol=0.0, atol=1e-12)
    others = [left(key=2.5)]
    for index in ((5, 0), (5, 2), (0, 2)):
        moved = lower.copy()
        moved[index] += 1e-6
        others.append(left(way=(moved, upper)))
        others.append(left(way=(upper, moved)))
    for k in range(3):
        others.append(left(asked=tuple(one + (j == k) for j, one in enumerate(asked))))
    others.append(left(way=(lower[:-1], upper[:-1])))
    assert np.all(np.array(others) == -1.0)


def test_polygons_are_filled_by_their_columns():
    """The mask says what may be touched; shapely's own test is the reference."""
    grid = Grid.over(60, 40, 0.7)
    area = Point(3, -2).buffer(15).difference(box(-2, -8, 9, 4)).union(box(-29, 10, -20, 19))
    mask = grid.inside(rings_of(area))
    import shapely

    x, y = np.meshgrid(grid.xs, grid.ys)
    assert np.array_equal(mask, shapely.contains_xy(area, x, y))


@pytest.mark.parametrize(
    ("radius", "corner", "slope"), [(8.0, 3.0, 0.3), (8.0, 0.5, 0.01), (10.0, 9.5, 2.0)]
)
def test_a_bull_on_a_ramp_is_as_exact_as_its_contact_searched_for(
    radius: float, corner: float, slope: float
):
    """The contact is looked up in a table for one slope: a coarse one would leave steps that no
    cutter leaves."""
    low, high = (
        np.array([[-20.0, -3.0, 2.0]]),
        np.array([[20.0, 3.0, 2.0 + slope * math.hypot(40.0, 6.0)]]),
    )
    stock = Stock(80.0, 60.0, 200.0, 0.25)
    stock.cut(low, high, np.zeros(1, dtype=np.int64), 1, Underside(radius, corner, radius - corner))
    x, y = np.meshgrid(stock.grid.xs, stock.grid.ys)
    along, across = (
        (x * 40.0 + y * 6.0) / math.hypot(40.0, 6.0),
        np.abs(y * 40.0 - x * 6.0) / math.hypot(40.0, 6.0),
    )
    under = (np.abs(along) < 20.0 - radius) & (across < radius - 1e-6)
    offset = np.vectorize(
        lambda v: lowest_offset(v, slope, Underside(radius, corner, radius - corner))
    )(across[under])
    lifted = np.vectorize(lambda d: rise(d, Underside(radius, corner, radius - corner)))(
        np.hypot(across[under], offset)
    )
    middle = 2.0 + slope * math.hypot(20.0, 3.0)
    expected = middle + slope * (along[under] + offset) + lifted
    assert under.sum() > 2000
    np.testing.assert_allclose(stock.top[under], expected, atol=2e-5)
