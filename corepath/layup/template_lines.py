"""Templates at full size: lines, circles and words on named layers, for whoever writes them to a
file.

X along the board, Y across, mm, origin over the middle of the blank; Y up. An *arc* template lies
on the curved board: its X are lengths along the arc. On the `core` they are those of the flat core,
which keeps its length; on the `deck` each place is moved by how much shorter or longer the top of
the laminate is up to there (`LaidUp.face_shift`), on the `bottom` by the same for its underside
(`LaidUp.under_shift`), and drawn as seen from below: Y down. A *flat* template is for skins and for
those who cut by hand before lay-up.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.features import Board
from corepath.board.footprints import Footprint, offset
from corepath.job.model import Job
from corepath.layup.laid import LaidUp, bolts_of, laid_up
from corepath.lengths import MM_PER_INCH, Units, mm, said_all, units_of

__all__ = [
    "BAR_TOLERANCE",
    "Curve",
    "Face",
    "Shape",
    "TemplateCircle",
    "TemplateLines",
    "Words",
    "apart",
    "bar",
    "board_template",
    "check_bars",
]

Floats = NDArray[np.float64]
Face = Literal["core", "deck", "bottom"]
Placing = Callable[[Floats], Floats]

BAR_TOLERANCE = 0.2
"""mm that the check bar may be off as printed: 2 mm over a metre of board (common practice, no
source)."""

_TOLD = 0.05  # mm: less is not worth a word
# mm; with the 0.001 of the polygons themselves within the 0.005 that a template keeps
_THIN = 0.002
_TICK = 12.0  # mm: length of the longest tick
_BAR_IN = 16.0  # mm from the blank's corner to the check bars


@dataclass(frozen=True, slots=True)
class Curve:
    """A line through `points` (n, 2) on a layer; a closed one does not repeat its first point."""

    layer: str
    points: Floats
    closed: bool = False


@dataclass(frozen=True, slots=True)
class TemplateCircle:
    """A circle."""

    layer: str
    x: float
    y: float
    radius: float


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text with its base line from (x, y), letters `size` high."""

    layer: str
    x: float
    y: float
    text: str
    size: float = 4.0


Shape = Curve | TemplateCircle | Words


@dataclass(frozen=True, slots=True)
class TemplateLines:
    """All shapes of one template, in a fixed order; `message` is told to the user beside it, in
    `units`."""

    title: str
    shapes: tuple[Shape, ...]
    message: tuple[str, ...]
    units: Units

    @property
    def layers(self) -> tuple[str, ...]:
        """Layers in the order of their first shape."""
        return tuple(dict.fromkeys(shape.layer for shape in self.shapes))

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Least x, least y, largest x, largest y over all but the widths of words."""
        points = np.vstack([_extent(shape) for shape in self.shapes])
        return (*points.min(axis=0).tolist(), *points.max(axis=0).tolist())


def _extent(shape: Shape) -> Floats:
    if isinstance(shape, Curve):
        return shape.points
    reach = shape.radius if isinstance(shape, TemplateCircle) else 0.0
    return np.array([[shape.x - reach, shape.y - reach], [shape.x + reach, shape.y + reach]])


def bar(units: Units) -> float:
    """Returns the length of a check bar, mm: a round one in the job's units."""
    return 4.0 * MM_PER_INCH if units.inch else 100.0


apart = bar
"""How far ticks along the blank and the ribs stand apart, mm."""


def board_template(
    job: Job,
    board: Board,
    digest: str,
    *,
    reach: float | None = None,
    on: Face = "core",
) -> TemplateLines:
    """Returns the template of a board: along the arc, or, with `reach`, flat for skins and hand
    work. `on` is the face that it lies on; `digest` names the plan.

    `reach` is how far the skins reach beyond the outline, mm.
    """
    flat = reach is not None
    laid = laid_up(job, board)
    placing = _placing(laid, on if not flat else "core")
    shapes: list[Shape] = [*_areas(job, board, reach, placing), *_holes(job, board, flat, placing)]
    shapes += _blank(job, board, placing)
    half, wide = job.blank.length / 2.0, job.blank.width / 2.0
    units = units_of(job.units)
    shapes += check_bars(-half + _BAR_IN, -wide + _BAR_IN, units)
    kind = "flat template" if flat else f"template along the arc, for the {on}"
    says = said_all(_says(job, board, laid, reach, on))
    lines = (f"{job.title}: {kind}", f"plan {digest}", *says)
    shapes += [Words("notes", -half, -wide - 8.0 - 6.0 * k, line) for k, line in enumerate(lines)]
    return TemplateLines(f"{job.title}: {kind}", tuple(shapes), says, units)


def check_bars(x: float, y: float, units: Units) -> Iterator[Shape]:
    """Returns two bars of a round length from (x, y), to the right and up, with what they may be
    off. There is one each way since a print may be stretched in one direction alone."""
    long = bar(units)
    for end in ((x + long, y), (x, y + long)):
        yield Curve("check bar", np.array([(x, y), end]))
        across = 3.0 * np.array(
            [(0.0, 1.0), (0.0, -1.0)] if end[1] == y else [(1.0, 0.0), (-1.0, 0.0)]
        )
        for at in ((x, y), end):
            yield Curve("check bar", across + np.array(at))
    for k, text in enumerate(
        (f"each bar {mm(long):g~}, +/- {mm(BAR_TOLERANCE):.1f};", "if not, do not use")
    ):
        yield Words("check bar", x + 5.0, y + 10.0 - 6.0 * k, text)


def _says(job: Job, board: Board, laid: LaidUp, reach: float | None, on: Face) -> Iterator[str]:
    yield (
        "full size; X+ to the right, seen from "
        f"{'below' if on == 'bottom' and reach is None else 'the deck'}"
    )
    if reach is not None:
        yield f"skins reach {mm(reach):.2f~} beyond the outline"
    if reach is not None or laid.rocker.level:
        return
    most = {face: float(np.abs(shift).max()) for face, shift in _shifts(job, board, laid).items()}
    if on == "core":
        yield (
            f"lengths of the core; along X a place lies up to {mm(most['deck']):.2f~} off on the "
            f"deck and {mm(most['bottom']):.2f~} on the underside (--on deck, --on bottom allow "
            "for it)"
        )
    else:
        face = "the top of the laminate" if on == "deck" else "the underside"
        yield f"lengths along {face}; up to {mm(most[on]):.2f~} off those of the flat core"
    if most["taper"] >= _TOLD:
        yield (
            f"a core that tapers may keep its length otherwise: up to {mm(most['taper']):.2f~} "
            "nearer to the middle"
        )


def _shifts(job: Job, board: Board, laid: LaidUp) -> dict[str, Floats]:
    """How far bolts and outline lie off along X on each face, and for the taper."""
    places = np.array(
        [(bolt.x, bolt.y) for bolt in bolts_of(job, board)] + list(board.outline.exterior.coords)
    )
    x, y = places.T
    return {
        "deck": laid.face_shift(x, y),
        "bottom": laid.under_shift(x),
        "taper": laid.taper_shift(x),
    }


def _placing(laid: LaidUp, on: Face) -> Placing:
    def placed(points: Floats) -> Floats:
        x, y = points[:, 0], points[:, 1]
        if on == "bottom":
            return np.column_stack([x + laid.under_shift(x), -y])
        if on == "core" or laid.rocker.level:
            return points
        return np.column_stack([x + laid.face_shift(x, y), y])

    return placed


def _ring(layer: str, ring: shapely.LinearRing, placing: Placing) -> Curve:
    # a straight edge becomes a curve on the face: it is moved in parts of 5 mm and thinned again
    dense = shapely.segmentize(ring, 5.0)
    moved = shapely.LinearRing(placing(np.asarray(dense.coords)[:, :2]))
    return Curve(layer, np.asarray(moved.simplify(_THIN).coords)[:-1, :2], closed=True)


def _areas(job: Job, board: Board, reach: float | None, placing: Placing) -> Iterator[Shape]:
    yield _ring("outline", board.outline.exterior, placing)
    allowance = job.trim.allowance if job.trim is not None else 0.0
    grown = [("trim line", offset(board.outline, allowance))] if allowance > 0.0 else []
    if reach is not None:
        skin = offset(board.outline, reach) if reach > 0.0 else board.outline
        grown.append(("skin edge", skin.intersection(board.blank)))
    for layer, area in grown:
        if isinstance(area, Polygon):
            yield _ring(layer, area.exterior, placing)
    yield _ring("groove outer wall", board.ring.exterior, placing)
    yield _ring("groove inner wall", board.ring.interiors[0], placing)
    for casting in board.castings:
        if casting.plug is not None:
            yield _ring("plugs", casting.area.exterior, placing)


def _holes(job: Job, board: Board, flat: bool, placing: Placing) -> Iterator[Shape]:
    def at(x: float, y: float) -> tuple[float, float]:
        found = placing(np.array([(x, y)]))
        return float(found[0, 0]), float(found[0, 1])

    for bolt in bolts_of(job, board):
        x, y = at(bolt.x, bolt.y)
        if bolt.diameter is not None:
            yield TemplateCircle("bolt holes", x, y, bolt.diameter / 2.0)
        yield from _cross("bolt centres", x, y, max(bolt.diameter or 0.0, bolt.wide) / 2.0 + 3.0)
        yield Words("notes", x + bolt.wide / 2.0 + 4.0, y + 2.0, bolt.id, 3.0)
    for place in board.places:
        yield TemplateCircle("insert bores", *at(place.x, place.y), place.bore / 2.0)
        if flat:
            yield _seat(place.seat, placing)
    for dowel in board.dowels:
        x, y = at(*dowel.at)
        yield TemplateCircle("dowel holes", x, y, dowel.diameter / 2.0)
        yield from _cross("dowel holes", x, y, dowel.diameter / 2.0 + 5.0)


def _seat(seat: Footprint, placing: Placing) -> Shape:
    if seat.diameter is None:
        return _ring("insert seats", seat.area.exterior, placing)
    x, y = placing(np.array([(seat.x, seat.y)]))[0].tolist()
    return TemplateCircle("insert seats", x, y, seat.diameter / 2.0)


def _cross(layer: str, x: float, y: float, reach: float) -> Iterator[Shape]:
    yield Curve(layer, np.array([(x - reach, y), (x + reach, y)]))
    yield Curve(layer, np.array([(x, y - reach), (x, y + reach)]))


def _blank(job: Job, board: Board, placing: Placing) -> Iterator[Shape]:
    """What is still there after lay-up: the blank's rectangle, its middle lines, and ticks along
    its edges."""
    half, wide = job.blank.length / 2.0, job.blank.width / 2.0
    yield Curve(
        "blank edge",
        placing(np.array([(-half, -wide), (half, -wide), (half, wide), (-half, wide)])),
        True,
    )
    yield Curve("centre lines", placing(np.array([(-half, 0.0), (half, 0.0)])))
    yield Curve("centre lines", placing(np.array([(0.0, -wide), (0.0, wide)])))
    for x in (-half, half):
        inward = -math.copysign(_TICK, x)
        yield Curve("end marks", placing(np.array([(x, 0.0), (x + inward, 0.0)])))
    # 1e-6 mm: a tick right at the blank's end would lie on its edge
    step = apart(units_of(job.units))
    for k in range(-math.floor((half - 1e-6) / step), math.floor((half - 1e-6) / step) + 1):
        for y in (-wide, wide):
            x = k * step
            inward = y - math.copysign(_TICK if k == 0 else _TICK / 2.0, y)
            yield Curve("end marks", placing(np.array([(x, y), (x, inward)])))
