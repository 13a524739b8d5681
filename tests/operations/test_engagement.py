"""How much wood the cutter meets along the moves of a pocket, measured on a raster that the moves
themselves lower."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, box

from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.fit import flatten
from corepath.motion.program import Kind, Program, Zero
from corepath.operations import programs
from corepath.work.works import Milling, Pocket, Work

Floats = NDArray[np.float64]

TOP, FLOOR = 13.6, 1.2
CUTTING = Cutting(
    rpm=18000, feed=3000, ramp=1500, plunge=1000, depth=3.0, stepover=2.4, finish=4000
)
CELL, STEP = 0.12, 0.3
QUICK = Milling(limits=Limits(accel=1e9))
"""A machine that turns at any feed: what a move is for is told here by its feed (slow bends:
motion/test_reachable)."""
EDGE = 0.02
"""mm inside the cutter's edge from where depths count: laps of different layers differ by a few
µm."""


def work(area: Polygon, **more: object) -> Work:
    fields: dict[str, object] = {
        "order": 3, "setup": "A", "name": "groove", "cutter": Cutter(1, "flat", 6.0, 0.0, 2, 22.0,
        30.0),
        "cutting": CUTTING, "zero": Zero(0, 0, 0, "the bed", True), "blank": box(-700, -240, 700,
        240),
        "stock_top": TOP, "clear": 25.0, "lowest": FLOOR, "park": (-700.0, 240.0), "arcs": True,
        "pockets": (Pocket("P1", area, TOP, FLOOR),), "milling": QUICK,
    }  # fmt: skip
    return Work(**(fields | more))  # type: ignore[arg-type]


@njit
def _mill(
    points: Floats, radius: float, x0: float, y0: float, shape: tuple[int, int], top: float
) -> NDArray[np.float64]:
    """Per step of `STEP` mm: x, y, z, mm² met, way, deepest cut, share of what is met on the right,
    point index."""
    heights = np.full(shape, top)
    steps = 0
    for s in range(len(points) - 1):
        way = math.sqrt(
            (points[s + 1, 0] - points[s, 0]) ** 2 + (points[s + 1, 1] - points[s, 1]) ** 2
        )
        steps += max(1, math.ceil(way / STEP))
    out = np.zeros((steps, 8))
    reach, row = int(radius / CELL) + 2, 0
    for s in range(len(points) - 1):
        ax, ay, az = points[s]
        bx, by, bz = points[s + 1]
        way = math.sqrt((bx - ax) ** 2 + (by - ay) ** 2)
        count = max(1, math.ceil(way / STEP))
        for k in range(1, count + 1):
            x, y, z = (
                ax + (bx - ax) * k / count,
                ay + (by - ay) * k / count,
                az + (bz - az) * k / count,
            )
            ix, iy = int((x - x0) / CELL), int((y - y0) / CELL)
            met, right, deep = 0, 0, 0.0
            for i in range(max(0, ix - reach), min(shape[0], ix + reach + 1)):
                dx = x0 + (i + 0.5) * CELL - x
                for j in range(max(0, iy - reach), min(shape[1], iy + reach + 1)):
                    dy = y0 + (j + 0.5) * CELL - y
                    if dx * dx + dy * dy <= radius * radius and heights[i, j] > z + 1e-6:
                        if heights[i, j] > z + 0.02:
                            met += 1
                            right += (bx - ax) * dy - (by - ay) * dx < 0.0
                        if dx * dx + dy * dy <= (radius - EDGE) ** 2:
                            deep = max(deep, heights[i, j] - z)
                        heights[i, j] = z
            out[row, 0], out[row, 1], out[row, 2], out[row, 3] = x, y, z, met * CELL * CELL
            out[row, 4], out[row, 5], out[row, 6], out[row, 7] = (
                way / count,
                deep,
                right / max(met, 1),
                float(s),
            )
            row += 1
    return out


@dataclasses.dataclass(frozen=True)
class Cut:
    """Step by step: places (n, 3), way, width met in mm (over one radius of way), deepest, right
    side, feed, entry.

    `entry` marks ramps and the level lap after each, where full width is allowed.
    """

    place: Floats
    way: Floats
    width: Floats
    deep: Floats
    right: Floats
    feed: Floats
    entry: NDArray[np.bool_]

    @property
    def later(self) -> NDArray[np.bool_]:
        """Level cutting other than the entries."""
        level = np.concatenate([[False], np.abs(np.diff(self.place[:, 2])) < 1e-6])
        return level & ~self.entry & ((self.feed == CUTTING.feed) | (self.feed == CUTTING.finish))


def milled(made: Program) -> Cut:
    points, feeds = [made.moves[0][1:4]], [0.0]
    for move in made.moves[1:]:
        more = flatten(points[-1], move, 0.005)[1:].tolist()
        points += [tuple(p) for p in more]
        feeds += [0.0 if move.kind is Kind.RAPID else move.feed] * len(more)
    track, radius = np.array(points), made.cutter.radius
    low, high = track[:, :2].min(axis=0) - radius - 1, track[:, :2].max(axis=0) + radius + 1
    shape = tuple(int(n) for n in np.ceil((high - low) / CELL))
    out = _mill(track, radius, float(low[0]), float(low[1]), shape, TOP)
    feed = np.array(feeds)[1:][out[:, 7].astype(int)]
    way, area = np.cumsum(out[:, 4]), np.cumsum(out[:, 3])
    back = np.searchsorted(way, way - radius)
    width = (area - area[back]) / np.maximum(way - way[back], 1e-9)
    return Cut(out[:, :3], out[:, 4], width, out[:, 5], out[:, 6], feed, _entries(out, feed))


def _entries(out: Floats, feed: Floats) -> NDArray[np.bool_]:
    """Ramps, and what follows at their end's height until the cutter comes round to where the ramp
    ended."""
    entry, k = feed == CUTTING.ramp, 0
    ends = np.flatnonzero(entry[:-1] & ~entry[1:])
    ahead = np.diff(out[:, :2], axis=0, prepend=out[:1, :2])
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    for end in ends:
        away = np.hypot(*(out[end:, :2] - out[end, :2]).T)
        left = np.flatnonzero(away > 0.9)
        same_way = ahead[end:] @ ahead[min(end + 1, len(ahead) - 1)] > 0.9
        back = np.flatnonzero((away < 0.3)[left[0] :] & same_way[left[0] :]) if len(left) else left
        k = end + (left[0] + back[0] if len(back) else 0)
        entry[end : k + 1] = np.abs(out[end : k + 1, 2] - out[end, 2]) < 1e-6
    return entry


def engaged_within(cut: Cut, share: float, most: float, groove: bool) -> None:
    """At most `share` of the later way wider than 1.3 stepovers, none wider than `most`
    stepovers. The light layer of a groove may be cut wider, but not as a slot for longer than one
    diameter, as docs/readback.md has it."""
    light = groove & (cut.deep <= QUICK.light_layer + 0.01)
    assert cut.way[cut.later & light & (cut.width > 0.95 * 6.0)].sum() < 6.0
    later = cut.later
    if not later.any():
        return
    wide = np.where(light, 0.0, cut.width / CUTTING.stepover)
    worst = int(np.argmax(np.where(later, wide, 0.0)))
    assert wide[worst] < most, f"{wide[worst]:.2f} stepovers at {cut.place[worst]}"
    assert cut.way[later & (wide > 1.3)].sum() < share * cut.way[later].sum()


def ellipse_groove(a: float, b: float) -> Polygon:
    t = np.linspace(0, 2 * np.pi, 1200, endpoint=False)
    return _ring(Polygon(np.column_stack([a * np.cos(t), b * np.sin(t)])))


def _ring(outline: Polygon) -> Polygon:
    grown = outline.buffer(6.0, quad_segs=64).difference(outline.buffer(-8.0, quad_segs=64))
    assert isinstance(grown, Polygon)
    return grown


AREAS = {
    "ellipse groove": ellipse_groove(70, 30),
    "groove with corners": _ring(
        Polygon([(-70, 0), (0, -25), (70, 0), (45, 32), (0, 8), (-45, 32)])
    ),
    "groove of a swallow tail": _ring(
        Polygon([(-60, -30), (60, -20), (60, 20), (-60, 30), (-25, 0)])
    ),
    "round plug": Point(30, -12).buffer(9.0, quad_segs=64),
    "slot": LineString([(0, 0), (20, 10)]).buffer(7.0, quad_segs=64),
    "narrow slot": LineString([(0, 0), (20, 10)]).buffer(3.5, quad_segs=64),
    "square": box(-20, -10, 25, 12),
    "triangle": Polygon([(-25, -12), (25, -12), (-5, 25)]),
    "dumbbell": shapely.union_all(
        [
            LineString([(0, 0), (40, 0)]).buffer(3.5),
            Point(0, 0).buffer(14, quad_segs=64),
            Point(40, 0).buffer(12),
        ]
    ),
}


@pytest.mark.parametrize("name", AREAS)
def test_full_width_only_in_the_entry_lap(name: str) -> None:
    """The cutter is buried at a corner or where arms meet, and pulls, burns or breaks."""
    groove = bool(AREAS[name].interiors)
    engaged_within(milled(programs(work(AREAS[name]))[0]), 0.02, 1.65, groove)


@settings(derandomize=True, max_examples=8, deadline=None)
@given(
    st.lists(st.floats(0.6, 1.2), min_size=4, max_size=8),
    st.lists(st.floats(0.0, 1.0), max_size=3),
    st.floats(30.0, 70.0),
    st.booleans(),
)
def test_any_notched_outline_keeps_the_cut_narrow(
    spokes: list[float], notches: list[float], size: float, groove: bool
) -> None:
    """Some outline with corners and notches of 2 mm where the cutter is buried, or a layer is met
    at double depth."""
    angles = np.linspace(0, 2 * np.pi, len(spokes), endpoint=False)
    outline = Polygon(
        size * np.array(spokes)[:, None] * np.column_stack([np.cos(angles), 0.7 * np.sin(angles)])
    )
    for place in notches:
        at = outline.exterior.interpolate(place, normalized=True)
        cut_out = outline.difference(box(at.x - 2, at.y - 2, at.x + 2, at.y + 2))
        outline = cut_out if isinstance(cut_out, Polygon) else outline
    area = _ring(outline) if groove else outline
    if not isinstance(area.buffer(-3.0), Polygon):
        return
    cut = milled(programs(work(area))[0])
    engaged_within(cut, 0.05, 1.9, groove)
    thin = cut.feed == CUTTING.finish
    assert cut.deep[~thin].max() < CUTTING.depth + 0.01


@pytest.mark.parametrize("name", AREAS)
def test_no_column_is_lowered_by_more_than_a_layer_at_once(name: str) -> None:
    """A layer leaves an island that the next one meets at double depth, or a helix gains too much a
    turn."""
    cut = milled(
        programs(work(AREAS[name], milling=dataclasses.replace(QUICK, finish_allowance=0.0)))[0]
    )
    worst = int(np.argmax(cut.deep))
    assert cut.deep[worst] < CUTTING.depth + 0.01, (
        f"{cut.deep[worst]:.2f} deep at {cut.place[worst]}"
    )


@pytest.mark.parametrize("conventional", [False, True])
def test_material_is_on_the_side_that_the_direction_asks_for(conventional: bool) -> None:
    """Climb milling with M3 has what it cuts on its right, conventional milling on its left."""
    for name in ("ellipse groove", "square", "round plug"):
        cut = milled(
            programs(
                work(AREAS[name], milling=dataclasses.replace(QUICK, conventional=conventional))
            )[0]
        )
        side = cut.later & (cut.width > 0.05)
        right = float((cut.way * cut.right)[side].sum() / cut.way[side].sum())
        assert right < 0.2 if conventional else right > 0.8, (name, right)
