"""Where the flat core lies once it is laid up: from its own X, Y and height to the frame of set-up D.

*Flat* X, Y are those of the board frame, as the core was cut. The core bends along X only and is taken to keep its
length in one plane, at `kept` over the form; planes above it get shorter where the form is hollow. *Height* counts
from the form, square to it: the laminate below, then the core, then the laminate above. *Frame of D*: X along the
chord, Y across, Z up from the rise 0 of the form; (0, 0) is over the middle of the blank. Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon

from corepath.board.deck import DeckSurface
from corepath.board.model import Board
from corepath.job.model import Job
from corepath.layup.curve import Rocker, rocker_of

__all__ = ["Bolt", "LaidUp", "bolts_of", "laid_up"]

Floats = NDArray[np.float64]
_ROUNDS = 12
_SEGMENT = 2.0


@dataclass(frozen=True, slots=True)
class LaidUp:
    """The board on its form: `below` and `above` are the laminates' thicknesses, `length`, `width` the blank's."""

    rocker: Rocker
    deck: DeckSurface
    below: float
    above: float
    kept: float
    length: float
    width: float

    @property
    def edge(self) -> float:
        """Thickness over all at the outline and out to the blank's edge."""
        return self.below + self.deck.edge + self.above

    @property
    def edge_middle(self) -> float:
        """Height of the middle of the core's edge."""
        return self.below + self.deck.edge / 2.0

    def under(self, x: ArrayLike) -> Floats:
        """Chord places of the form under flat `x`."""
        return self.rocker.under(x, self.kept)

    def tilt(self, x: ArrayLike) -> Floats:
        """Tilt of the board at flat `x` against the level, radians, positive where it rises towards X+."""
        return self.rocker.angle(self.under(x))

    def place(self, x: ArrayLike, height: ArrayLike) -> tuple[Floats, Floats]:
        """(X, Z) in D of the core's flat `x` at heights over the form, broadcast together."""
        under = self.under(x)
        angle, up = self.rocker.angle(under), np.asarray(height, dtype=np.float64)
        return (
            np.asarray(under - up * np.sin(angle), dtype=np.float64),
            np.asarray(self.rocker.rise(under) + up * np.cos(angle), dtype=np.float64),
        )

    def shape(self, area: Polygon, height: float) -> Polygon:
        """A footprint of the flat core as it is seen from above in D, taken at one height over the form."""
        if self.rocker.level:
            return area
        return shapely.transform(
            shapely.segmentize(area, _SEGMENT),
            lambda points: np.column_stack([self.place(points[:, 0], height)[0], points[:, 1]]),
        )

    def face_shift(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """How much farther along X a place of the deck lies, measured along the laminate's top, than in the flat."""
        height = self.below + self.deck.height(x, y) + self.above
        turn = self.tilt(x) - self.rocker.angle(0.0)
        return np.asarray((self.kept - height) * turn, dtype=np.float64)

    def bottom(self, x: ArrayLike) -> Floats:
        """Z of the laminate's underside, which is the form, at places X of D."""
        return self.rocker.rise(x)

    def top(self, x: ArrayLike, y: ArrayLike, off: float = 0.0) -> Floats:
        """Z of the laminate's top at places (X, Y) of D, or of the face `off` below it, square to the form."""
        at, across = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
        under = at.copy()
        for _ in range(_ROUNDS):
            flat = self.rocker.arc(under, self.kept)
            height = self.below + self.deck.height(flat, across) + self.above - off
            under = at + height * np.sin(self.rocker.angle(under))
        return np.asarray(self.rocker.rise(under) + height * np.cos(self.rocker.angle(under)), dtype=np.float64)

    def tip(self, x: ArrayLike, radius: float, web: float) -> Floats:
        """Lowest Z of a flat cutter's tip with its axis at places X of D, so that `web` is left under all of it."""
        beside = np.linspace(-radius, radius, 41)
        ground = self.bottom(np.asarray(x, dtype=np.float64)[..., None] + beside)
        return np.asarray(ground.max(axis=-1) + web, dtype=np.float64)

    @property
    def ends(self) -> tuple[float, float]:
        """X in D of the blank's ends, at the form."""
        first, last = self.under(np.array([-self.length / 2.0, self.length / 2.0]))
        return float(first), float(last)


@dataclass(frozen=True, slots=True)
class Bolt:
    """A hole for a bolt after lay-up, at flat x, y: through plug `id`, or over insert `id`.

    `diameter` is None over an insert whose hole is not given. `room` is the distance from the deck down to the
    insert's end; None through a plug. `wide` is the width of the plug, or of the insert's bore.
    """

    id: str
    x: float
    y: float
    diameter: float | None
    room: float | None = None
    wide: float = 0.0


def bolts_of(job: Job, board: Board) -> tuple[Bolt, ...]:
    """All bolt holes: through the middle of each plug, then over each insert."""
    found = []
    for casting in board.castings:
        if casting.plug is not None:
            middle = casting.area.envelope.centroid
            found.append(Bolt(casting.id, middle.x, middle.y, casting.plug.bolt_hole, None, casting.plug.diameter))
    for place in board.places:
        insert = place.insert
        deck = float(board.deck.height(place.x, place.y))
        room = deck - insert.recess - insert.length
        found.append(Bolt(place.id, place.x, place.y, insert.bolt_hole, room, place.bore))
    return tuple(found)


def laid_up(job: Job, board: Board) -> LaidUp:
    """The job's board on its form; on a level one without a rocker."""
    layup = job.layup
    below, above = (layup.skin_below, layup.skin_above) if layup is not None else (0.0, 0.0)
    neutral = layup.neutral if layup is not None and layup.neutral is not None else job.core_thickness / 2.0
    return LaidUp(rocker_of(job), board.deck, below, above, below + neutral, job.blank.length, job.blank.width)
