"""The section: a lengthwise cut through the blank as it lies, with heights exaggerated by a stated
factor.

Model coordinates of this view are (x, z), mm: X of the set-up along the sheet, Z above the bed
upwards.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from corepath.board.deck.surface import DeckSurface
from corepath.board.footprints import Footprint
from corepath.lengths import mm
from corepath.views.drawing_sheet import NORMAL, SMALL, best_scale, scale_words
from corepath.views.drawings.scene import Scene
from corepath.views.svg import Box, Document, number, polygon_path, shown
from corepath.work.works import Work

__all__ = ["HeightScale", "Level", "Slice", "crossing", "draw_section", "section_of", "section_y"]

_EXAGGERATIONS = (50, 40, 30, 25, 20, 15, 12, 10, 8, 6, 5, 4, 3, 2, 1)


@dataclass(frozen=True, slots=True)
class Level:
    """A height that is named beside the section, mm above the bed, with its words; `strong` sets it
    in bold."""

    z: float
    words: str
    strong: bool = False

    @property
    def text(self) -> str:
        return f"{mm(self.z):.2f}  {self.words}"


@dataclass(frozen=True, slots=True)
class HeightScale:
    """Heights on the sheet: `base` is the sheet y of height 0, `factor` the sheet mm per mm."""

    base: float
    factor: float

    def y(self, z: float) -> float:
        """Return the sheet y of the height `z`, mm."""
        return self.base - z * self.factor


@dataclass(frozen=True, slots=True)
class Slice:
    """One section at Y `y`: areas of wood, resin, and what is cut away here; `low` and `high` are
    the heights shown.

    `stand` is what the blank lies on where that is not the bed at 0; `note` is added to the title.
    """

    y: float
    wood: BaseGeometry
    resin: BaseGeometry
    removed: BaseGeometry
    levels: tuple[Level, ...]
    length: tuple[float, float]
    low: float
    high: float
    stand: BaseGeometry | None = None
    note: str = ""


def crossing(shape: Polygon, y: float) -> list[tuple[float, float]]:
    """Return the intervals of x (mm) in which the line along X at `y` runs inside `shape`."""
    x0, _, x1, _ = shape.bounds
    cut = shape.intersection(LineString([(x0 - 1, y), (x1 + 1, y)]))
    parts = [
        part
        for part in shapely.get_parts(cut)
        # mm: a section that just touches a corner shows none.
        if isinstance(part, LineString) and part.length > 1e-9
    ]
    return sorted(
        (min(p.coords[0][0], p.coords[-1][0]), max(p.coords[0][0], p.coords[-1][0])) for p in parts
    )


def _chord(x: float, y: float, diameter: float, at: float) -> list[tuple[float, float]]:
    rest = (diameter / 2) ** 2 - (at - y) ** 2
    # A section that just touches a circle shows none.
    return [(x - math.sqrt(rest), x + math.sqrt(rest))] if rest > 1e-9 else []


def _through(seat: Footprint, y: float) -> list[tuple[float, float]]:
    if seat.diameter is None:
        return crossing(seat.area, y)
    return _chord(seat.x, seat.y, seat.diameter, y)


def _boxes(intervals: Iterable[tuple[float, float]], low: float, high: float) -> list[Polygon]:
    return [box(a, low, b, high) for a, b in intervals] if high > low else []


def section_y(scene: Scene, work: Work) -> float:
    """Return the Y whose section crosses most of what this operation cuts; the least |Y| among
    equals. Without holes or pockets, of inserts and plugs."""
    spots = [(h.x, h.y, h.steps[-1].diameter / 2) for h in work.holes]
    small = [p.area for p in work.pockets if not p.area.interiors]
    if not spots and not small:
        spots = [(p.x, p.y, p.bore / 2) for p in scene.places]
        small = [scene.seen(c.area) for c in scene.board.castings if c.kind == "plug"]
    spots += [(a.centroid.x, a.centroid.y, (a.bounds[3] - a.bounds[1]) / 2) for a in small]
    ys = sorted({0.0, *(round(y, 3) for _, y, _ in spots)}, key=lambda y: (abs(y), y))
    # Farther than 0.8 of the radius from a hole's middle less than 0.6 of its width would show.
    return max(ys, key=lambda y: sum(abs(y - sy) < 0.8 * r for _, sy, r in spots))


def section_of(scene: Scene, work: Work, y: float) -> Slice:
    """Return the section at `y` (mm) as this operation finds the flat blank, and what it removes;
    `cradle_section.laid_slice` is that of set-up D."""
    x0, _, x1, _ = work.blank.bounds
    top = scene.top(work.order)
    gone = shapely.union_all([*_before(scene, work.order, y, top), *_seats(scene, work, y, top)])
    resin = shapely.union_all(_resin(scene, work.order, y, top))
    removed = _removed(work, y, (x0, x1), top)
    low = min(0.0, removed.bounds[1] if not removed.is_empty else 0.0)
    stock = box(x0, min(low, 0.0) if low < 0 else 0.0, x1, top)
    removed = removed.intersection(stock).difference(gone)
    wood = box(x0, 0.0, x1, top).difference(shapely.union_all([gone, resin, removed]))
    levels = (Level(0.0, "bed"), *_levels(scene, work, top))
    return Slice(y, wood, resin.difference(removed), removed, levels, (x0, x1), low, top)


def _before(scene: Scene, order: int, y: float, top: float) -> list[Polygon]:
    """Return what earlier operations have removed here."""
    gone: list[Polygon] = []
    if order > scene.stem_order["dowels"]:
        for dowel in scene.dowels:
            gone += _boxes(_chord(dowel.x, dowel.y, dowel.diameter, y), 0.0, top)
    for casting in scene.board.castings:
        low, high = scene.casting_heights(casting.id)
        inside = crossing(scene.seen(casting.area), y)
        if scene.setup == "A":
            gone += (
                []
                if scene.is_cast(order) or order <= scene.stem_order[casting.kind]
                else _boxes(inside, low, top)
            )
        elif scene.setup == "B":
            gone += _boxes(inside, 0.0, low)
        elif scene.setup == "C":
            gone += _boxes(inside, high, top)
    if order > scene.stem_order["inserts"]:
        for spot in scene.places:
            seat, bore = scene.insert_depths(spot.id)
            gone += _boxes(_through(spot.seat, y), 0.0, seat)
            gone += _boxes(_chord(spot.x, spot.y, spot.bore, y), 0.0, bore)
    return gone


def _seats(scene: Scene, work: Work, y: float, top: float) -> list[Polygon]:
    """Return the seats that an earlier file of this operation has cut over its bores."""
    # With a cutter of its own for the bores, their holes begin below the face, on the seat.
    sunk = [hole for hole in work.holes if hole.top < top - 1e-9]
    places = scene.places if sunk else ()
    gone: list[Polygon] = []
    for hole in sunk:
        for spot in places:
            if math.dist((spot.x, spot.y), (hole.x, hole.y)) < 1e-6:
                gone += _boxes(_through(spot.seat, y), hole.top, top)
    return gone


def _resin(scene: Scene, order: int, y: float, top: float) -> list[Polygon]:
    if not scene.is_cast(order):
        return []
    out: list[Polygon] = []
    for casting in scene.board.castings:
        low, high = scene.casting_heights(casting.id)
        out += _boxes(crossing(scene.seen(casting.area), y), low, min(high, top))
    return out


def _removed(work: Work, y: float, length: tuple[float, float], top: float) -> BaseGeometry:
    out: list[BaseGeometry] = []
    for pocket in work.pockets:
        out += _boxes(crossing(pocket.area, y), pocket.floor, top)
    for hole in work.holes:
        for step in hole.steps:
            out += _boxes(_chord(hole.x, hole.y, step.diameter, y), step.floor, top)
    if work.facing is not None:
        out += [box(length[0], work.facing.planes[-1], length[1], top)]
    if work.deck is not None:
        out += [_over(work.deck.surface, y, length, top)]
    return shapely.union_all(out) if out else Polygon()


def _over(surface: DeckSurface, y: float, length: tuple[float, float], top: float) -> Polygon:
    xs = np.linspace(length[0], length[1], 401)
    zs = np.minimum(np.asarray(surface.height(xs, np.full_like(xs, y))), top)
    return Polygon(
        [
            *zip(xs.tolist(), zs.tolist(), strict=True),
            # A hair above the top, where the deck may touch it: the ring must not fold on itself.
            (length[1], top + 1e-9),
            (length[0], top + 1e-9),
        ]
    ).buffer(0)


def _levels(scene: Scene, work: Work, top: float) -> list[Level]:
    face = {"A": "raw top", "B": "raw bottom", "C": "raw top", "D": "top"}[work.setup]
    levels: list[Level] = []
    if work.order > scene.stem_order["skim"] and work.setup == "B":
        face = "skimmed face"
    levels.append(Level(top, face if work.setup != "C" else "raw top, planned stop"))
    levels += _floor_levels(scene, work, top)
    levels += _hole_levels(work, top)
    if work.facing is not None:
        levels += _pass_levels(scene, work.facing.planes)
    if work.deck is not None:
        levels += _deck_levels(work.deck.surface)
    return levels


def _floor_levels(scene: Scene, work: Work, top: float) -> list[Level]:
    """Return each floor once, with the depths of its pockets; those of a flush from the drawn
    face."""
    castings = {casting.id for casting in scene.board.castings}
    floors: dict[float, list[str]] = {}
    for pocket in work.pockets:
        floors.setdefault(round(pocket.floor, 4), []).append(pocket.id)
    return [
        Level(
            floor,
            f"floor, {scene.depths(ids) if castings.issuperset(ids) else f'{mm(top - floor):.2f}'} "
            "deep",
            True,
        )
        for floor, ids in sorted(floors.items())
    ]


def _hole_levels(work: Work, top: float) -> list[Level]:
    found: dict[float, str] = {}
    for hole in work.holes:
        for step in hole.steps:
            seat = step.spring or step is not hole.steps[-1]
            name = "seat" if seat else "bore" if work.name == "inserts" else "hole"
            where = "into the bed" if step.floor < 0 else f"{mm(top - step.floor):.2f} deep"
            found.setdefault(round(step.floor, 3), f"{name}, {where}")
    floors = sorted(found, reverse=True)
    # More names would not fit beside the section; the deepest must not be missing.
    shown = floors if len(floors) <= 5 else [*floors[:4], floors[-1]]
    return [Level(floor, found[floor], True) for floor in shown]


def _pass_levels(scene: Scene, planes: Sequence[float]) -> list[Level]:
    stop = scene.stack.skim.planned_plane
    numbered = list(enumerate(planes, start=1))
    # With many passes only the first, the last and the planned stop are named.
    if len(numbered) > 7:
        numbered = [(k, z) for k, z in numbered if k in (1, len(planes)) or abs(z - stop) < 1e-6]
    return [
        Level(z, "pass" + (": planned stop" if abs(z - stop) < 1e-6 else ""), abs(z - stop) < 1e-6)
        for _, z in numbered
    ]


def _deck_levels(surface: DeckSurface) -> list[Level]:
    grid = np.asarray(surface.grid)
    return [
        Level(float(grid.max()), "deck, highest", True),
        Level(float(grid.min()), "deck, edge", True),
    ]


def draw_section(svg: Document, cut: Slice, room: Box, letter: str = "S", note: str = "") -> None:
    """Draw `cut` into `room`, with the levels named at its right; `letter` names the section."""
    x0, x1 = cut.length
    label_room = 58.0
    inner = Box(room.x0 + 4, room.y0 + 8, room.x1 - label_room, room.y1 - 3)
    scale = best_scale(x1 - x0, 0.0, inner)
    # At least 1.5 mm of bed is shown below the blank.
    reach = cut.high - min(cut.low - 1.0, -1.5)
    factor = next((n for n in _EXAGGERATIONS if n * scale * reach <= inner.height), 1)
    height = scale * factor
    base = inner.y1 + min(cut.low - 1.0, -1.5) * height
    left = inner.x0

    def placed(shape: BaseGeometry) -> str:
        flat = shapely.transform(
            shape, lambda p: np.stack([left + (p[:, 0] - x0) * scale, base - p[:, 1] * height], 1)
        )
        polygons = [
            part
            for part in shapely.get_parts(flat)
            # mm²: edges that lie on one another leave slivers.
            if isinstance(part, Polygon) and part.area > 1e-6
        ]
        return polygon_path(MultiPolygon(polygons))

    with svg.group("section", id="section"):
        scales = f"length {scale_words(scale)}, heights {factor} × the length"
        words = f"Section {letter}–{letter} at Y {shown(cut.y)}: {scales}"
        svg.text(room.x0 + 4, room.y0 + 4, words + cut.note + note, "label strong", size=NORMAL)
        if cut.stand is None:
            _bed(svg, Box(left - 2, base, left + (x1 - x0) * scale + 2, room.y1 - 1))
        else:
            svg.path(placed(cut.stand), "bed narrow", id="section-cradle")
        svg.path(placed(cut.wood), "wood narrow", id="section-wood")
        svg.path(placed(cut.resin), "resin narrow", id="section-resin")
        svg.path(placed(cut.removed), "removed tint narrow", id="section-removed")
        name_levels(
            svg,
            cut.levels,
            left + (x1 - x0) * scale,
            left,
            Box(room.x0, room.y0 + 6, room.x1, room.y1),
            HeightScale(base, height),
        )


def _bed(svg: Document, slab: Box) -> None:
    svg.add("rect", class_="bed faint", x=slab.x0, y=slab.y0, width=slab.width, height=slab.height)
    svg.line(slab.x0, slab.y0, slab.x1, slab.y0, "wide")


def name_levels(
    svg: Document,
    levels: Sequence[Level],
    right: float,
    left: float,
    room: Box,
    scale: HeightScale,
) -> None:
    """Set the figures of `levels` at the right of a section, spread so that no one covers another,
    each with a leader to its height."""
    pitch = 4.4
    ordered = sorted(levels, key=lambda level: (-level.z, level.text))
    wanted = [scale.y(level.z) for level in ordered]
    spread = spread_out(wanted, pitch, room.y0 + 2.5, room.y1 - 3.0)
    for level, y, at in zip(ordered, wanted, spread, strict=True):
        svg.line(left, y, right + 2, y, "faint")
        svg.path(
            f"M{number(right + 2)} {number(y)}L{number(right + 6)} "
            f"{number(at)}H{number(right + 7)}",
            "faint",
        )
        style = "level strong" if level.strong else "level"
        svg.text(right + 8, at + 1.1, level.text, style, size=SMALL)


def spread_out(wanted: Sequence[float], pitch: float, low: float, high: float) -> list[float]:
    """Return ascending places at least `pitch` apart, near `wanted` (ascending), within `low` and
    `high` if they fit.

    >>> spread_out([1.0, 1.5, 9.0], 2.0, 0.0, 10.0)
    [1.0, 3.0, 9.0]
    """
    out: list[float] = []
    for y in wanted:
        out.append(max(y, low, out[-1] + pitch if out else low))
    # Those pushed beyond the end are pushed back from there.
    limit = high
    for k in range(len(out) - 1, -1, -1):
        out[k] = min(out[k], limit)
        limit = out[k] - pitch
    return out
