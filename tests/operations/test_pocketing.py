"""Pockets: the sweep of the moves themselves, proved by polygons against the area that the cutter
can open."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from corepath.errors import CorepathError
from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.fit import TOLERANCE, flatten
from corepath.motion.program import Kind, Move, Program, Zero
from corepath.operations import programs
from corepath.operations.pockets.inset_contours import Layer, plan_contours
from corepath.work.cutting.wall_strips import layers
from corepath.work.works import Milling, Obstacle, Pocket, Work

TOP, FLOOR, CLEAR, LIGHT = 13.6, 1.2, 25.0, 0.3
FLAT = Cutter(1, "flat", 6.0, 0.0, 2, 22.0, 30.0)
CUTTING = Cutting(rpm=18000, feed=3000, ramp=1500, plunge=1000, depth=3.0, stepover=2.4)


QUICK = Milling(limits=Limits(accel=1e9))
"""A machine that turns at any feed: what a move is for is told here by its feed (slow bends:
motion/test_reachable)."""


def work(*areas: Polygon, cutter: Cutter = FLAT, **more: object) -> Work:
    pockets = tuple(Pocket(f"P{k}", area, TOP, FLOOR) for k, area in enumerate(areas, start=1))
    fields: dict[str, object] = {
        "order": 3, "setup": "A", "name": "groove", "cutter": cutter, "cutting": CUTTING,
        "zero": Zero(0, 0, 0, "the bed", True), "blank": box(-700, -240, 700, 240),
        "stock_top": TOP, "clear": CLEAR,
        "lowest": FLOOR, "park": (-700.0, 240.0), "arcs": True, "pockets": pockets,
        "milling": QUICK,
    }  # fmt: skip
    return Work(**(fields | more))  # type: ignore[arg-type]


def program(given_work: Work) -> Program:
    (made,) = programs(given_work)
    return made


def cuts(made: Program) -> list[tuple[Move, np.ndarray]]:
    """Each move that ends below the top or starts there, with its points."""
    return [
        (move, flatten((before.x, before.y, before.z), move))
        for before, move in itertools.pairwise(made.moves)
        if min(before.z, move.z) <= TOP
    ]


def chained(pieces: list[np.ndarray], r: float) -> BaseGeometry:
    """What a disc of radius `r` sweeps along the (n, 3) pieces; followers are joined."""
    chains: list[list[np.ndarray]] = []
    for piece in pieces:
        if chains and len(chains[-1]) < 12 and np.array_equal(chains[-1][-1][-1], piece[0]):
            chains[-1].append(piece)
        else:
            chains.append([piece])
    # Joins within 0.0004 mm: 48 segments a quarter at r = 3.
    lines = [LineString(np.concatenate(chain)[:, :2]) for chain in chains]
    return shapely.union_all([line.buffer(r, quad_segs=48) for line in lines])


def sweep_at(made: Program, z: float) -> BaseGeometry:
    """What the cutter sweeps on the level moves at `z`."""
    pieces = [p for _, p in cuts(made)]
    return chained(
        [p for p in pieces if np.ptp(p[:, 2]) < 1e-9 and abs(p[0, 2] - z) < 1e-9],
        made.cutter.radius,
    )


def sweep_all(made: Program) -> BaseGeometry:
    """What the cutter sweeps anywhere below the top, by any move."""
    return chained([p for _, p in cuts(made)], made.cutter.radius)


def opened(area: Polygon, r: float) -> BaseGeometry:
    return area.buffer(-r, quad_segs=64).buffer(r, quad_segs=64)


def prove(area: Polygon, made: Program, pocket: Pocket) -> None:
    """Nothing outside the area, all of the opened area at every layer, by area."""
    outside = sweep_all(made).difference(area.buffer(0.003))
    assert outside.area < 1e-6, (
        f"cuts {outside.area} mm2 outside the pocket, at {outside.representative_point()}"
    )
    must = opened(area, made.cutter.radius).buffer(-0.003)
    # Above the floor no wall is made yet: what stays there may be thicker by the tolerance of a
    # clearing lap.
    above = opened(area.buffer(-Milling().finish_allowance - TOLERANCE), made.cutter.radius).buffer(
        -0.003
    )
    pieces, done, below = [p for _, p in cuts(made)], Polygon(), -1.0
    for z in reversed(layers(pocket, CUTTING.depth, LIGHT)):
        new = [p for p in pieces if below < p[:, 2].max() <= z + 1e-9]
        done, below = done.union(chained(new, made.cutter.radius)), z + 1e-9
        left = (must if z == pocket.floor else above).difference(done)
        assert left.area < 0.01, (
            f"leaves {left.area} mm2 at z {z}, at {left.representative_point()}"
        )


def ring(outline: Polygon, inside: float = 8.0, outside: float = 6.0) -> Polygon:
    grown = outline.buffer(outside, quad_segs=64).difference(outline.buffer(-inside, quad_segs=64))
    assert isinstance(grown, Polygon)
    return grown


def ellipse(a: float, b: float, n: int = 2000) -> Polygon:
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return Polygon(np.column_stack([a * np.cos(t), b * np.sin(t)]))


AREAS = {
    "ellipse groove": ring(ellipse(120, 45)),
    "groove with corners": ring(
        Polygon([(-100, 0), (0, -30), (100, 0), (60, 40), (0, 10), (-60, 40)])
    ),
    "groove hardly wider than the cutter": ring(ellipse(120, 45), 3.2, 3.2),
    "wide groove": ring(ellipse(120, 70), 20, 15),
    "round plug": Point(30, -12).buffer(9.0, quad_segs=64),
    "round plug hardly wider than the cutter": Point(30, -12).buffer(3.3, quad_segs=64),
    "slot": LineString([(0, 0), (20, 10)]).buffer(7.0, quad_segs=64),
    "narrow slot": LineString([(0, 0), (20, 10)]).buffer(3.5, quad_segs=64),
    "square with corners": box(-20, -10, 25, 12),
    "dumbbell": shapely.union_all(
        [
            LineString([(0, 0), (40, 0)]).buffer(3.5),
            Point(0, 0).buffer(14, quad_segs=64),
            Point(40, 0).buffer(12),
        ]
    ),
}


@pytest.mark.parametrize(
    ("name", "arcs"),
    [(name, True) for name in AREAS] + [("dumbbell", False), ("narrow slot", False)],
)
def test_sweep_is_the_opened_area_at_every_layer(name: str, arcs: bool) -> None:
    """Wood left standing on a floor, or a wall cut into."""
    made = program(work(AREAS[name], arcs=arcs))
    prove(AREAS[name], made, Pocket("P1", AREAS[name], TOP, FLOOR))
    if not arcs:
        assert all(move.kind in (Kind.RAPID, Kind.LINE) for move in made.moves), (
            "arcs for a control without them"
        )


@settings(derandomize=True, max_examples=6, deadline=None)
@given(
    st.lists(st.floats(0.75, 1.25), min_size=5, max_size=9),
    st.floats(40, 150),
    st.booleans(),
    st.floats(4.0, 10.0),
)
def test_any_outline_groove_swept_and_island_untouched(
    spokes: list[float], size: float, smooth: bool, inside: float
) -> None:
    """Some outline, smooth or with corners, whose groove is not swept or whose island is cut."""
    angles = np.linspace(0, 2 * np.pi, 720 if smooth else len(spokes), endpoint=False)
    if smooth:
        radius = 1.0 + sum(
            (s - 1) / (k + 2) * np.cos((k + 2) * angles + k) for k, s in enumerate(spokes)
        )
    else:
        radius = np.array(spokes)
    outline = Polygon(
        np.column_stack([size * radius * np.cos(angles), 0.7 * size * radius * np.sin(angles)])
    )
    area = ring(outline, inside)
    made = program(work(area))
    prove(area, made, Pocket("P1", area, TOP, FLOOR))
    island = Polygon(area.interiors[0])
    assert sweep_all(made).intersection(island.buffer(-0.003)).area == 0.0, "the island is cut"


@settings(derandomize=True, max_examples=9, deadline=None)
@given(st.lists(st.floats(0.35, 1.0), min_size=4, max_size=9), st.floats(25, 60))
def test_any_pocket_without_island_is_swept(spokes: list[float], size: float) -> None:
    """Some pocket with lobes and corners in which wood stays standing; or a narrow one that is not
    refused."""
    angles = np.linspace(0, 2 * np.pi, len(spokes), endpoint=False)
    corners = size * np.array(spokes)
    area = Polygon(np.column_stack([corners * np.cos(angles), corners * np.sin(angles)]))
    middle = area.buffer(-3.0)
    if not isinstance(middle, Polygon) or middle.is_empty:
        with pytest.raises(CorepathError, match="does not"):
            program(work(area))
        return
    prove(area, program(work(area)), Pocket("P1", area, TOP, FLOOR))


def test_floor_above_the_top_is_refused() -> None:
    """A path through the air above the stock, taken for a pocket."""
    with pytest.raises(CorepathError, match=r"P9: nothing to cut between 13\.6 and 14"):
        program(work(pockets=(Pocket("P9", box(0, 0, 20, 20), TOP, 14.0),)))


def test_every_layer_is_within_the_depth_and_the_last_is_light() -> None:
    """A layer deeper than the cutter's, or a full cut over a thin floor."""
    heights = layers(Pocket("P", box(0, 0, 9, 9), TOP, FLOOR), 3.0, LIGHT)
    steps = -np.diff([TOP, *heights])
    assert steps.max() <= 3.0 + 1e-9 and steps.min() > 0
    assert heights[-1] == FLOOR and steps[-1] == pytest.approx(LIGHT)
    assert steps[:-1] == pytest.approx(steps[0])
    assert layers(Pocket("P", box(0, 0, 9, 9), TOP, TOP - 3.0, thin=False), 3.0, LIGHT) == [
        TOP - 3.0
    ]


@pytest.mark.parametrize(
    "name", ["ellipse groove", "round plug", "narrow slot", "dumbbell", "groove with corners"]
)
def test_never_straight_down_into_wood_and_never_steeper_than_three_degrees(name: str) -> None:
    """A plunge or a steep ramp into solid wood with a cutter that may not cut to its centre."""
    made = program(work(AREAS[name]))
    levels = [TOP, *layers(Pocket("P", AREAS[name], TOP, FLOOR), CUTTING.depth, LIGHT)]
    for move, points in cuts(made):
        way = float(np.hypot(*np.diff(points[:, :2], axis=0).T).sum())
        fall = points[0, 2] - points[-1, 2]
        if move.kind is Kind.RAPID:
            assert fall <= 0, "a rapid down below the top"
        elif way < 1e-9 and fall > 0:
            assert min(abs(points[-1, 2] - z) for z in levels[:-1]) < 1e-9, (
                "straight down past a cleared layer"
            )
            assert move.feed == CUTTING.plunge
        elif fall > 1e-9:
            assert math.degrees(math.atan2(fall, way)) < 3.02, (
                f"ramp at {math.degrees(math.atan2(fall, way))} degrees"
            )
            assert move.feed == CUTTING.ramp


def test_groove_is_one_path_without_lifting() -> None:
    """The cutter is lifted and set down again within the groove: a mark and lost time."""
    made = program(work(AREAS["ellipse groove"]))
    rapids = [move for move in made.moves if move.kind is Kind.RAPID]
    assert len(rapids) == 3
    assert (rapids[0].z, rapids[1].z, rapids[2].z) == (CLEAR, TOP + 1.0, CLEAR)
    assert rapids[0][1:3] == rapids[1][1:3]
    assert len(made.passes) == 1


def test_walls_are_climb_milled() -> None:
    """Tear-out: with M3 (clockwise seen from above) the wall must be on the right of the travel.

    On the right side of a clockwise turning cutter the edge moves backwards, as the wood does past
    the cutter: climb milling by definition. So the outer wall is cut counter-clockwise and the
    island clockwise.
    """
    area = AREAS["ellipse groove"]
    outer, island = Polygon(area.exterior).buffer(-3.0), Polygon(area.interiors[0]).buffer(3.0)
    seen = {"outer": 0, "island": 0}
    for _, p in cuts(program(work(area))):
        if np.ptp(p[:, 2]) > 1e-9 or len(p) < 3:
            continue
        middle = Point(p[len(p) // 2, :2])
        turn = np.cross(np.append(p[0, :2], 0.0), np.append(p[-1, :2], 0.0))[2]
        if outer.exterior.distance(middle) < 0.01:
            seen["outer"] += 1
            assert turn > 0, "outer wall against the climb"
        elif island.exterior.distance(middle) < 0.01:
            seen["island"] += 1
            assert turn < 0, "island against the climb"
    assert min(seen.values()) > 10


def test_full_width_only_in_the_first_lap_of_a_layer() -> None:
    """A later ring buries the cutter: the uncut width ahead of it, by area per length, must stay
    near the stepover."""
    made = program(work(AREAS["ellipse groove"]))
    z = layers(
        Pocket("P", AREAS["ellipse groove"], TOP, FLOOR), CUTTING.depth, LIGHT, remainder=True
    )[0]
    done: BaseGeometry = Polygon()
    widths = []
    for move, p in cuts(made):
        if p[-1, 2] > z + 1e-9:
            continue
        if p[-1, 2] < z - 1e-9:
            break
        new = LineString(p[:, :2]).buffer(3.0).difference(done)
        done = done.union(LineString(p[:, :2]).buffer(3.0)).buffer(0.0005)
        length = float(np.hypot(*np.diff(p[:, :2], axis=0).T).sum())
        if move.feed == CUTTING.feed and length > 5.0:
            widths.append(new.area / length)
    # one lap of four is the first, and its arcs are no longer than those of the others
    assert sum(w > 1.15 * CUTTING.stepover for w in widths) < 0.3 * len(widths)
    assert max(widths[len(widths) // 3 :]) < 1.15 * CUTTING.stepover


def test_wall_ring_meets_no_more_than_a_strip_at_a_pointed_tip() -> None:
    """The cutter buried in a tip, where the groove is wider, when it comes round along the outer
    wall."""
    area = ring(Polygon([(-80, 0), (0, -25), (80, 0), (0, 25)]))
    wall = area.buffer(-3.0, quad_segs=64).exterior
    inner = Polygon(area.interiors[0]).buffer(7.0)
    made = program(work(area, milling=dataclasses.replace(QUICK, finish_allowance=0.0)))
    pieces = [p for _, p in cuts(made)]
    away = [shapely.distance(wall, shapely.points(p[:, :2])).max() for p in pieces]
    flank = [
        k
        for k, p in enumerate(pieces)
        if away[k] < 0.01 and np.abs(p[:, 0]).min() < 30 and np.ptp(p[:, 0]) > 20
    ]
    first = flank[0]  # then back to where the lap along the wall begins
    while away[first - 1] < 0.01:
        first -= 1
    before = pieces[:first]
    left = opened(area, 3.0).difference(inner).difference(chained(before, 3.0))
    assert left.area > 100, "the outer wall was cut before it was looked at"
    thick = left.buffer(-0.75 * CUTTING.stepover)
    assert thick.is_empty, f"{thick.area} mm2 stand thicker than one and a half stepovers"


def test_corner_that_stays_round_is_said_with_its_amount() -> None:
    """A corner that the cutter cannot reach is passed over in silence. Closed form: (4 - pi) r^2
    for four corners."""
    made = program(work(AREAS["square with corners"]))
    (line,) = made.watch
    assert f"{(4 - math.pi) * 9:.2f} mm² left" in line
    assert program(work(AREAS["round plug"])).watch == ()


def test_pocket_narrower_than_the_cutter_is_refused_with_its_place() -> None:
    """A cutter forced through a gap, or an error that does not say where."""
    with pytest.raises(CorepathError, match="does not fit into it anywhere"):
        program(work(Point(0, 0).buffer(2.9)))
    neck = shapely.union_all([box(-30, -10, -5, 10), box(-6, -2.5, 6, 2.5), box(5, -10, 30, 10)])
    with pytest.raises(
        CorepathError,
        match=r"does not pass through it everywhere; narrow at "
        r"X-?[0-4]\.\d\d Y",
    ):
        program(work(neck))
    with pytest.raises(CorepathError, match="does not pass"):
        program(work(ellipse(60, 40).difference(ellipse(56, 30))))


def test_ball_cutter_is_refused() -> None:
    """A floor that is not level."""
    with pytest.raises(CorepathError, match="no level floor"):
        program(work(AREAS["round plug"], cutter=Cutter(2, "ball", 6.0, 3.0, 2, 22.0, 30.0)))


def test_obstacle_in_the_way_is_refused_one_beside_it_is_not() -> None:
    """The cutter runs into a clamp."""
    near = Obstacle(box(124, -5, 140, 5), 20.0)
    with pytest.raises(CorepathError, match="obstacle"):
        program(work(AREAS["ellipse groove"], obstacles=(near,)))
    beside = Obstacle(box(127, -5, 140, 5), 20.0)
    assert program(work(AREAS["ellipse groove"], obstacles=(beside,))).moves


def test_several_pockets_in_one_pass_in_a_short_order() -> None:
    """A stop between pockets, or a way to and fro across the blank."""
    places = [(0.0, 0.0), (300.0, 0.0), (100.0, 0.0), (200.0, 10.0), (-100.0, 0.0)]
    made = program(work(*(Point(p).buffer(9, quad_segs=64) for p in places)))
    assert len(made.passes) == 1
    overs = [m for m in made.moves if m.kind is Kind.RAPID and m.z == CLEAR]
    way = sum(math.dist(a[1:3], b[1:3]) for a, b in itertools.pairwise(overs))
    assert way < 440.0
    for place in places:
        assert sweep_at(made, FLOOR).covers(Point(place).buffer(8.99))


def test_same_work_same_moves() -> None:
    """Two runs that differ."""
    area = AREAS["groove with corners"]
    assert program(work(area)) == program(work(area))


def test_first_and_last_move_are_at_the_clear_height() -> None:
    """A pass that begins or ends in the wood."""
    for name, area in AREAS.items():
        moves = program(work(area)).moves
        assert moves[0].kind is moves[-1].kind is Kind.RAPID, name
        assert moves[0].z == moves[-1].z == CLEAR, name
        assert moves[-2][1:3] == moves[-1][1:3], name


def test_light_layers_of_a_groove_take_fewer_laps_than_the_deep_ones() -> None:
    """A lap more is 35 seconds of a groove 3 m long. 14 wide, D6, 0.2 left on each wall: the axis
    clears 7.6. A strip of 0.4 is left round the island, so 7.2 by 4 laps 2.4 apart at most, in a
    light layer by 3, 4.62 apart at most. 12.4 deep are 0.3 over the floor and 12.1 over that: 4
    layers of 2.95 and a light one, not 5 deep ones. The two finishing laps run at the floor too:
    5 laps there, and not 6; and that of the strip, which is slower."""
    area = AREAS["ellipse groove"]
    way: dict[float, float] = {}
    for move, points in cuts(program(work(area))):
        z = round(float(points[-1, 2]), 4)
        if move.feed == CUTTING.feed and abs(points[0, 2] - z) < 1e-9:
            length = float(np.hypot(*np.diff(points[:, :2], axis=0).T).sum())
            way[z] = way.get(z, 0.0) + length
    heights = layers(Pocket("P", area, TOP, FLOOR), CUTTING.depth, LIGHT, remainder=True)
    assert heights == pytest.approx([TOP - 2.95 * k for k in range(1, 5)] + [1.5, 1.2])
    assert way[heights[-1]] == pytest.approx(5 / 4 * way[heights[0]], rel=0.05)
    assert way[heights[-2]] == pytest.approx(3 / 4 * way[heights[0]], rel=0.05)


def test_one_more_light_layer_only_where_a_deep_one_is_saved() -> None:
    """12.4 deep, 3.0 a layer, 0.3 over the floor: 12.1 left are five layers, or four and a light
    one. 11.7 deep: 11.4 left would be four deep ones still, so they are even."""
    pocket = Pocket("P", AREAS["ellipse groove"], TOP, FLOOR)
    assert len(layers(pocket, 3.0, LIGHT)) == len(layers(pocket, 3.0, LIGHT, remainder=True)) == 6
    low = Pocket("P", AREAS["ellipse groove"], TOP, TOP - 11.7)
    assert layers(low, 3.0, LIGHT) == layers(low, 3.0, LIGHT, remainder=True)


def test_a_slightly_larger_helix_saves_a_lap() -> None:
    """15 wide, D6, 0.2 left: the axis goes out to 4.3. From a helix of 2.7 one lap at a
    stepover of 2.4 comes to 4.28 by the formula of docs/pockets.md, from 2.91 to 4.53: one lap."""
    planned = plan_contours(Point(0, 0).buffer(7.5, quad_segs=64), 3.0, 2.4, "P", Layer(0.2))
    radii = [float(np.hypot(*ring.points.T).mean()) for ring in planned.rings]
    assert radii == pytest.approx([2.91, 4.3], abs=0.02)
