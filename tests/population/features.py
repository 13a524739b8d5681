"""Where dowels, plugs, inserts, clamps and screws go: by construction clear of each other, as a
person sets them out.

Board frame, mm. Distances are those of the checks at their defaults with a margin: 3 mm of wood
between things, 2 mm of wall round a bolt and over a seat, half a millimetre before a barrel's end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from shapely import Point, Polygon, box

from tests.population.chance import Chance
from tests.population.decks import Deck, rounded
from tests.population.shapes import Shape
from tests.population.toml_text import Mm

__all__ = [
    "Ground",
    "draw_clamps",
    "draw_dowels",
    "draw_inserts",
    "draw_plugs",
    "draw_screws",
    "touch_place",
]

APART = 3.4
"""Wood between any two things, and the blank's edge (`limits.spacing` is 3)."""

PARTS = (  # name in the hardware table, barrel, flange, thickness of the flange, length, prongs
    ("tee-nut-M4", 5.3, 15.0, 1.2, 8.0, 4.0), ("tee-nut-M4-6", 5.3, 15.0, 1.2, 6.0, 4.0),
    ("tee-nut-M5-7", 6.5, 17.0, 1.2, 7.0, 5.0), ("tee-nut-#10-24-6.4", 6.3, 17.5, 1.2, 6.4, 5.0),
    ("flanged-insert-M4-6", 6.0, 9.0, 0.8, 6.0, 0.0), ("flanged-insert-M5-7", 7.0, 10.5, 1.0, 7.0,
    0.0),
    ("flanged-insert-M6-8", 8.0, 12.0, 1.0, 8.0, 0.0), ("flanged-insert-M6", 8.0, 12.0, 1.0, 10.0,
    0.0),
)  # fmt: skip

SEAT_WOOD, BARREL_WOOD, ERRORS = 2.0, 0.5, 0.75
"""`limits.wood_over_seat`, `limits.barrel`, and what tolerances and the estimate of the deck may
take."""


@dataclass(slots=True)
class Ground:
    """What features stand on. `ring` is the groove; `taken` grows with each feature."""

    blank: tuple[float, float]
    shape: Shape
    ring: Polygon
    island: Polygon
    deck: Deck
    taken: list[Polygon] = field(default_factory=list)
    room: Polygon = field(init=False)
    _rounded: Any = None

    @property
    def outer(self) -> Polygon:
        """The groove's outer wall and all within."""
        return Polygon(self.ring.exterior)

    def __post_init__(self) -> None:
        self.room = self.island.buffer(-APART)
        shapely.prepare(self.room)

    def free(self, area: Polygon) -> bool:
        """Whether an area lies inside the island, clear of what is there."""
        return bool(shapely.contains(self.room, area)) and all(
            area.distance(one) >= APART for one in self.taken
        )

    def over(self, area: Polygon) -> tuple[float, float]:
        """Lowest and highest of the deck over an area, by the estimate."""
        left, low, right, high = area.bounds
        x, y = np.meshgrid(np.linspace(left, right, 6), np.linspace(low, high, 6))
        if self._rounded is None:
            self._rounded = rounded(self.deck, self.shape)
        heights = self._rounded(np.column_stack([x.ravel(), y.ravel()]))
        return float(heights.min()), float(heights.max())

    def places(self, chance: Chance, pitch: float = 17.0) -> list[tuple[float, float]]:
        """Places within the island, whole mm, in an order by chance."""
        left, low, right, high = self.island.bounds
        xs, ys = np.arange(left + 5.0, right, pitch), np.arange(max(low, 0.0) + 5.0, high, pitch)
        found = [
            (round(x + chance.even(-4, 4, 1)), round(y + chance.even(-4, 4, 1)))
            for x in xs
            for y in ys
        ]
        return [found[k] for k in chance.order(len(found))]


def draw_dowels(
    chance: Chance, ground: Ground, flip: str, diameter: float, stand: float, depth: float
) -> list[dict[str, Any]]:
    """One at either end of the flip axis at unequal distances; now and then a pair at one end
    instead."""
    along = 0 if flip == "x" else 1
    half = ground.blank[along] / 2.0
    bounds = ground.outer.bounds
    walls = (-bounds[along], bounds[2 + along])
    least = [wall + APART + diameter / 2.0 for wall in walls]
    most = half - APART - diameter / 2.0
    near = [min(max(bound, 0.0), most) for bound in least]
    far = 0 if chance.yes() else 1  # the one that lies further out
    unequal = diameter / 2.0 + 1.2
    places = [0.0, 0.0]
    places[far] = chance.even(min(max(near[far], near[1 - far] + unequal), most), most, 0.5)
    places[1 - far] = chance.even(
        near[1 - far], max(min(places[far] - unequal, most), near[1 - far]), 0.5
    )
    ends = [-places[0], places[1]]
    points = [(end, 0.0) if along == 0 else (0.0, end) for end in ends]
    if chance.yes(0.15):
        points = _paired(chance, ground, along, points, diameter)
    return [
        {
            "at": [Mm(x), Mm(y)],
            "diameter": Mm(diameter),
            "depth_in_bed": Mm(depth),
            "stand": Mm(stand),
        }
        for x, y in points
    ]


def _paired(
    chance: Chance, ground: Ground, along: int, points: list[tuple[float, float]], diameter: float
) -> list[tuple[float, float]]:
    """The first replaced by two at mirror places of the axis, out in the corners of that end."""
    reach = ground.blank[1 - along] / 2.0 - APART - diameter / 2.0 - chance.even(1.0, 4.0, 0.5)
    first = points[0]
    pair = [(first[0], s * reach) if along == 0 else (s * reach, first[1]) for s in (-1.0, 1.0)]
    if all(Point(one).buffer(diameter / 2.0).distance(ground.outer) >= APART for one in pair):
        return [*pair, points[1]]
    return points


def draw_plugs(
    chance: Chance, ground: Ground, groups: int, highest: float, narrow: float, floor: float | None
) -> list[dict[str, Any]]:
    """Groups of cast plugs where the deck over them is at most `highest`; `narrow` is the least
    width to cut."""
    found = []
    for number in range(1, groups + 1):
        hole = chance.even(max(4.2, narrow - 0.2), 8.4, 0.1)
        wide = round(max(hole + 2 * (2.0 + chance.even(1.1, 3.5, 0.1)), narrow), 1)
        slot = round(wide + chance.even(6.0, 24.0, 0.5), 1) if chance.yes(0.35) else None
        angle = chance.one_of((0.0, 0.0, 90.0, 15.0, -30.0)) if slot is not None else 0.0
        count = chance.one_of((1, 2, 2, 4))
        places = _spread(chance, ground, count, lambda x, y, w=wide, s=slot, a=angle: _plug(x, y, w,
            s, a),
                         lambda area: ground.over(area)[1] <= highest, mirrored=angle in (0.0,
                         90.0))  # fmt: skip
        if not places:
            continue
        section: dict[str, Any] = {"name": f"P{number}", "at": [[Mm(x), Mm(y)] for x, y in places]}
        section |= {"diameter": Mm(wide)}
        if slot is not None:
            section |= {"slot": Mm(slot), "angle": angle}
        section["bolt_hole"] = Mm(hole)
        if floor is not None and chance.yes(0.15):
            section["floor"] = Mm(round(floor + 0.1, 2))
        found.append(section)
    return found


def _plug(x: float, y: float, wide: float, slot: float | None, angle: float) -> Polygon:
    if slot is None:
        return Point(x, y).buffer(wide / 2.0)
    reach, turn = (slot - wide) / 2.0, math.radians(angle)
    dx, dy = reach * math.cos(turn), reach * math.sin(turn)
    return shapely.LineString([(x - dx, y - dy), (x + dx, y + dy)]).buffer(wide / 2.0)


def draw_inserts(
    chance: Chance, ground: Ground, groups: int, narrow: float, bolts: bool
) -> list[dict[str, Any]]:
    """Groups of inserts where there is wood enough for them, of parts short enough for the
    board."""
    found: list[dict[str, Any]] = []
    most = ground.deck.highest - 0.3
    for number in range(1, groups + 1):
        recess = chance.even(0.25, 0.5, 0.05)
        names = [
            part
            for part in PARTS
            if part[1] + 0.2 > narrow + 0.05 and max(_needs(recess, *part[3:])) < most
        ]
        part = chance.one_of(names) if names and chance.yes(0.4) else None
        barrel, flange, thick, length, prongs = (
            part[1:] if part else _own(chance, narrow, ground.deck.highest)
        )
        needs = max(_needs(recess, thick, length, prongs))
        clearance = chance.one_of((0.2, 0.2, 0.1, 0.3))
        if part and part[0].startswith("tee-nut"):
            clearance = 0.2
        count = chance.one_of((1, 2, 2, 4, 4, 6))

        def fits(area: Polygon, needs: float = needs) -> bool:
            return ground.over(area)[0] >= needs and not any(
                area.intersects(one) for one in ground.deck.patches
            )

        reach = (flange + clearance) / 2.0
        places = _spread(
            chance, ground, count, lambda x, y, r=reach: Point(x, y).buffer(r), fits, mirrored=True
        )
        # a shorter part, as somebody buys who finds no place
        while not places and not part and length > thick + 2.0:
            length = round(length - 0.5, 1)
            needs = max(_needs(recess, thick, length, prongs))
            places = _spread(
                chance,
                ground,
                count,
                lambda x, y, r=reach: Point(x, y).buffer(r),
                fits,
                mirrored=True,
            )
        if not places:
            continue
        section: dict[str, Any] = {"name": f"I{number}", "at": [[Mm(x), Mm(y)] for x, y in places]}
        if part:
            section["hardware"] = part[0]
        else:
            section |= {
                "barrel": Mm(barrel),
                "flange": Mm(flange),
                "flange_thickness": Mm(thick),
                "length": Mm(length),
            }
        section |= {"recess": Mm(recess), "clearance": Mm(clearance), "through": chance.yes(0.4)}
        if bolts and chance.yes(0.7):
            section["bolt_hole"] = Mm(
                chance.even(narrow + 0.2, max(barrel - 0.3, narrow + 0.3), 0.1)
            )
        found.append(section)
    return found


def _needs(recess: float, thick: float, length: float, prongs: float) -> tuple[float, float]:
    """Deck that a part needs over its barrel, and over its seat."""
    seat = max(SEAT_WOOD, prongs + 1.0 if prongs else 0.0)
    return recess + length + BARREL_WOOD + ERRORS, recess + thick + seat + ERRORS


def _own(chance: Chance, narrow: float, highest: float) -> tuple[float, float, float, float, float]:
    """A part that a person measured: no longer than the board's thickest place takes."""
    barrel = round(max(chance.even(5.0, 9.0, 0.1), narrow + 0.2), 1)
    flange = round(barrel + chance.even(4.0, 11.0, 0.5), 1)
    thick = chance.even(0.8, 1.6, 0.1)
    longest = highest - 0.5 - BARREL_WOOD - ERRORS - 0.1
    return (
        barrel,
        flange,
        thick,
        round(max(chance.even(0.6, 1.0, 0.02) * longest, thick + 2.0), 1),
        0.0,
    )


def _spread(
    chance: Chance, ground: Ground, count: int, form: Any, fits: Any, mirrored: bool
) -> list[tuple[int, int]]:
    """Up to `count` places; pairs lie at either side of the X axis where both are free, else each
    by itself."""
    found: list[tuple[int, int]] = []
    for x, y in ground.places(chance):
        side = 1 if chance.yes() else -1
        pair = (
            [(x, y), (x, -y)] if mirrored and count - len(found) >= 2 and y > 0 else [(x, side * y)]
        )
        areas = [form(*one) for one in pair]
        apart = len(areas) == 1 or areas[0].distance(areas[1]) >= APART
        if apart and all(ground.free(area) and fits(area) for area in areas):
            found += pair
            ground.taken += areas
        if len(found) >= count:
            break
    return found


def touch_place(
    chance: Chance, ground: Ground, taken: list[Polygon], flip: str
) -> tuple[float, float]:
    """Sound wood of the rim, in a corner: off the groove, off `taken` at its place and at both
    mirror images.

    Where a pair of dowels leaves no such corner, its mirror image about the flip axis alone has to
    be clear; where clamps take those too, it is a place along a side.
    """
    length, width = ground.blank
    corners = []
    for k in chance.order(4):
        sx, sy = (1 if k % 2 else -1), (1 if k // 2 else -1)
        corners.append(
            (
                sx * (length / 2.0 - chance.even(8.0, 14.0, 1.0)),
                sy * (width / 2.0 - chance.even(8.0, 14.0, 1.0)),
            )
        )
    sides = [(sx * 0.3 * length, sy * (width / 2.0 - 3.5)) for sx in (1, -1) for sy in (1, -1)]

    def clear(places: tuple[tuple[float, float], ...]) -> float:
        return min(Point(one).distance(area) for one in places for area in (ground.outer, *taken))

    def room(place: tuple[float, float]) -> tuple[bool, float]:
        x, y = place
        image = (x, -y) if flip == "x" else (-x, y)
        return clear((place, image)) > 0.0, clear((place, (x, -y), (-x, y)))

    best = max(corners, key=room)
    if not room(best)[0]:
        best = max(sides, key=room)
    return round(best[0], 1), round(best[1], 1)


def draw_clamps(
    chance: Chance, ground: Ground, setup: str, keep: float, count: int
) -> tuple[list[dict[str, Any]], list[Polygon]]:
    """Clamps over corners of the blank in one set-up, `keep` mm clear of the groove; mirrored
    outlines for B."""
    length, width = ground.blank
    found, areas = [], []
    for k in chance.order(4):
        if len(found) >= count:
            break
        sx, sy = (1 if k % 2 else -1), (1 if k // 2 else -1)
        reach_x, reach_y = chance.even(10.0, 26.0, 1.0), chance.even(10.0, 26.0, 1.0)
        x, y = sx * (length / 2.0 - reach_x), sy * (width / 2.0 - reach_y)
        x2, y2 = sx * (length / 2.0 + 25.0), sy * (width / 2.0 + chance.one_of((0.0, 15.0)))
        area = box(min(x, x2), min(y, y2), max(x, x2), max(y, y2))
        wall = ground.outer
        if setup == "B":  # in the frame of B; a mirror either way leaves the worst of both
            wall = shapely.union_all([wall, shapely.affinity.scale(wall, 1, -1, origin=(0, 0)),
                                      shapely.affinity.scale(wall, -1, 1, origin=(0,
                                          0))])  # fmt: skip
        if area.distance(wall) < keep or any(area.distance(one) < 8.0 for one in ground.taken):
            continue
        points = [[Mm(a), Mm(b)] for a, b in ((x, y), (x2, y), (x2, y2), (x, y2))]
        section: dict[str, Any] = {
            "points": points,
            "height": Mm(chance.even(16.0, 28.0, 1.0)),
            "setups": [setup],
        }
        if setup == "B":
            section["sawn_off"] = True
        found.append(section)
        areas.append(area)
    return found, areas


def draw_screws(chance: Chance, ground: Ground) -> list[dict[str, Any]]:
    """Two screws in opposite corners of the rim, in A."""
    length, width = ground.blank
    head = chance.even(7.0, 10.0, 0.5)
    x, y = length / 2.0 - 4.0 - head / 2.0, width / 2.0 - 4.0 - head / 2.0
    at = [(x, y), (-x, -y)]
    if any(Point(one).buffer(head / 2.0).distance(ground.outer) < 4.0 for one in at):
        return []
    if any(
        Point(one).buffer(head / 2.0).distance(area) < 4.0 for one in at for area in ground.taken
    ):
        return []
    return [
        {
            "at": [[Mm(a), Mm(b)] for a, b in at],
            "head": Mm(head),
            "head_height": Mm(3.0),
            "setups": ["A"],
        }
    ]
