"""Where the flat core lies once it is laid up: from its own X, Y and height to the frame of set-up
D.

*Flat* X, Y are those of the board frame, as the core was cut. The core bends along X only and is
taken to keep its length in one plane, at `kept` over the form; planes above it get shorter where
the form is hollow. *Height* counts from the form, square to it: the laminate below, then the core,
then the laminate above. *Frame of D*: X along the chord, Y across, Z up from the rise 0 of the
form; (0, 0) is over the middle of the blank. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import Point, Polygon

from corepath.board.deck.surface import DeckSurface
from corepath.board.features import Board
from corepath.job.model import Job, LayupSection
from corepath.layup.curve import Rocker, held_curve

__all__ = [
    "Bolt",
    "LaidUp",
    "Pin",
    "bolts_of",
    "drill_at",
    "laid_up",
    "pad_of",
    "pins_of",
    "skin_outside",
]

Floats = NDArray[np.float64]
_SKIN_LAP = 6.0
"""mm by which the laminates lap onto the rim beyond the trim's slot where the job does not say:
twice `limits.web`, since a board is placed in its cradle, and a skin on its board, by hand (common
practice, no source)."""

# rounds of the fixed point in `LaidUp.top`: each shrinks the error by height times curvature, at
# most about 1/20 by `curve.LEAST_RADIUS`
_ROUNDS = 12
_PART = 16_384  # places worked out at a time, see `LaidUp.top`
_SEGMENT = 2.0  # mm between the vertices of a footprint that is moved onto the form
_ACROSS = 101  # places across the blank for the middle of its section
_PAD = 15.0  # mm from the blank's edge to where the pad is touched
_FINE = 2001  # places along the form among which its lowest is looked for


@dataclass(frozen=True, slots=True)
class LaidUp:
    """The board on its form: `below` and `above` are the laminates' thicknesses, `length`, `width`
    the blank's, `kept` the height over the form at which the core keeps its length, all mm.

    `stand` is the cradle's height at its lowest place above the bed that it stands on.
    """

    rocker: Rocker
    deck: DeckSurface
    below: float
    above: float
    kept: float
    length: float
    width: float
    stand: float

    @property
    def lowest(self) -> float:
        """Z of the form at its lowest place under the blank."""
        return float(self.bottom(np.linspace(*self.ends, _FINE)).min())

    @property
    def bed(self) -> float:
        """Z of the bed that the cradle stands on: below 0, since Z counts from the rise 0 of the
        form."""
        return self.lowest - self.stand

    @property
    def edge(self) -> float:
        """Thickness of core and laminates together at the outline and out to the blank's edge."""
        return self.below + self.deck.edge + self.above

    @property
    def edge_middle(self) -> float:
        """Height of the middle of the core's edge."""
        return self.below + self.deck.edge / 2.0

    def under(self, x: ArrayLike) -> Floats:
        """Returns the chord places (mm, the shape of `x`) of the form under flat `x`."""
        return self.rocker.under(x, self.kept)

    def tilt(self, x: ArrayLike) -> Floats:
        """Returns the tilt of the board at flat `x` (mm) against the level, radians, positive where
        it rises towards X+; the shape of `x`."""
        return self.rocker.angle(self.under(x))

    def place(self, x: ArrayLike, height: ArrayLike) -> tuple[Floats, Floats]:
        """Returns (X, Z) in D, mm, of the core's flat `x` at heights over the form, both broadcast
        together."""
        under = self.under(x)
        angle, up = self.rocker.angle(under), np.asarray(height, dtype=np.float64)
        return (
            np.asarray(under - up * np.sin(angle), dtype=np.float64),
            np.asarray(self.rocker.rise(under) + up * np.cos(angle), dtype=np.float64),
        )

    def shape(self, area: Polygon, height: float) -> Polygon:
        """Returns a footprint of the flat core as it is seen from above in D, taken at one `height`
        over the form."""
        if self.rocker.level:
            return area
        return shapely.transform(
            shapely.segmentize(area, _SEGMENT),
            lambda points: np.column_stack([self.place(points[:, 0], height)[0], points[:, 1]]),
        )

    def face_shift(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Returns how much farther along X the place (x, y) of the deck lies, measured along the
        laminate's top, than in the flat; mm, `x` and `y` broadcast together."""
        height = self.below + self.deck.height(x, y) + self.above
        turn = self.tilt(x) - self.rocker.angle(0.0)
        return np.asarray((self.kept - height) * turn, dtype=np.float64)

    def under_shift(self, x: ArrayLike) -> Floats:
        """Returns the same as `face_shift` along the underside of the laminate, which is the form's
        face; mm, the shape of `x`."""
        turn = self.tilt(x) - self.rocker.angle(0.0)
        return np.asarray(self.kept * turn, dtype=np.float64)

    def taper_shift(self, x: ArrayLike) -> Floats:
        """Returns how much farther along the arc places of the core would lie if the middle of each
        section kept its length; mm, the shape of `x`.

        `kept` is one height all along, but in pure bending it is the centroid of the section, here
        of the blank across its width, that keeps its length (beam theory, textbook), and that sinks
        where the core gets thinner. Each turn of the tangent counts by the difference there: the
        integral of (centroid - kept) over the turn, from X = 0.
        """
        wanted = np.atleast_1d(np.asarray(x, dtype=np.float64))
        along = np.unique(
            np.concatenate([np.arange(-self.length / 2.0, self.length / 2.0, 1.0), [0.0], wanted])
        )
        across = np.linspace(-self.width / 2.0, self.width / 2.0, _ACROSS)
        # the middle of an area of heights h over level ground is at (sum of h²) / (2 sum of h)
        height = self.deck.height(along[:, None], across[None, :])
        off = self.below + (height**2).sum(axis=1) / (2.0 * height.sum(axis=1)) - self.kept
        steps = (off[1:] + off[:-1]) / 2.0 * np.diff(self.tilt(along))
        total = np.concatenate([[0.0], np.cumsum(steps)])
        total -= total[np.searchsorted(along, 0.0)]
        return np.asarray(
            total[np.searchsorted(along, wanted)].reshape(np.shape(x)), dtype=np.float64
        )

    def bottom(self, x: ArrayLike) -> Floats:
        """Returns Z, mm, of the laminate's underside, which is the form, at places X of D; the
        shape of `x`."""
        return self.rocker.rise(x)

    def top(self, x: ArrayLike, y: ArrayLike, off: float = 0.0) -> Floats:
        """Returns Z, mm, of the laminate's top at places (X, Y) of D, broadcast together, or of the
        face `off` mm below it, square to the form."""
        at, across = np.broadcast_arrays(
            np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        )
        # The arc takes eight places of the form for each one asked for: in parts that stay in the
        # processor's cache a whole blank takes a third of the time.
        xs, ys = at.ravel(), across.ravel()
        parts = [
            self._top(xs[first : first + _PART], ys[first : first + _PART], off)
            for first in range(0, xs.size, _PART)
        ]
        return np.concatenate([np.empty(0), *parts]).reshape(at.shape)

    def _top(self, at: Floats, across: Floats, off: float) -> Floats:
        """Returns the same as `top` at places (n,)."""
        # The place of the form under a top depends on the top's own height and tilt: repeated from
        # the place straight below until both agree.
        under, height = at.copy(), np.empty(at.size)
        moving = np.arange(at.size)
        for _ in range(_ROUNDS):
            before = under[moving]
            flat = self.rocker.arc(before, self.kept)
            height[moving] = self.below + self.deck.height(flat, across[moving]) + self.above - off
            after = at[moving] + height[moving] * np.sin(self.rocker.angle(before))
            under[moving] = after
            # What stays to the last bit would stay in every further round.
            moving = moving[after != before]
            if not moving.size:
                break
        return np.asarray(
            self.rocker.rise(under) + height * np.cos(self.rocker.angle(under)), dtype=np.float64
        )

    def tip(self, x: ArrayLike, radius: float, web: float) -> Floats:
        """Returns the lowest Z, mm, of a flat cutter's tip with its axis at places X of D (the
        shape of `x`), so that `web` mm are left under all of it; `radius` is the cutter's, mm."""
        # on a hollow form the highest ground is under the rim, on a crown under the axis
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

    `diameter` is None over an insert whose hole is not given. `room` is the distance from the deck
    down to the insert's end; None through a plug. `wide` is the width of the plug, or of the
    insert's bore.
    """

    id: str
    x: float
    y: float
    diameter: float | None
    room: float | None = None
    wide: float = 0.0


def bolts_of(job: Job, board: Board) -> tuple[Bolt, ...]:
    """Returns all bolt holes: through the middle of each plug, then over each insert."""
    found = []
    for casting in board.castings:
        if casting.plug is not None:
            middle = casting.area.envelope.centroid
            found.append(
                Bolt(
                    casting.id,
                    middle.x,
                    middle.y,
                    casting.plug.bolt_hole,
                    None,
                    casting.plug.diameter,
                )
            )
    for place in board.places:
        insert = place.insert
        deck = float(board.deck.height(place.x, place.y))
        room = deck - insert.recess - insert.length
        found.append(Bolt(place.id, place.x, place.y, insert.bolt_hole, room, place.bore))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Pin:
    """Where a dowel's hole comes to lie on the cradle's face, (x, y, z) in D, and how a pin leans
    there, radians."""

    x: float
    y: float
    z: float
    tilt: float


def pins_of(laid: LaidUp, dowels: Sequence[tuple[float, float]]) -> tuple[Pin, ...]:
    """Returns a pin for each dowel at flat (x, y), square to the cradle's face: the pins set the
    board in its place again."""
    found = []
    for x, y in dowels:
        at, z = laid.place(x, 0.0)
        found.append(Pin(float(at), y, float(z), float(laid.tilt(x))))
    return tuple(found)


def drill_at(laid: LaidUp, bolt: Bolt) -> tuple[float, float]:
    """Returns X, Y in D of an upright hole for a bolt.

    Through a plug it meets the plug's axis at half the height of the core, so that the tilt takes
    as little of the wall at the top as at the bottom; over an insert where the bore comes out of
    the deck.
    """
    deck = float(laid.deck.height(bolt.x, bolt.y))
    height = laid.below + (deck / 2.0 if bolt.room is None else deck)
    return float(laid.place(bolt.x, height)[0]), bolt.y


def laid_up(job: Job, board: Board, rocker: Rocker | None = None) -> LaidUp:
    """Returns the job's board as its cradle holds it; level without a rocker. With `rocker` on that
    curve, such as the form's own."""
    layup = job.layup
    below, above = (layup.skin_below, layup.skin_above) if layup is not None else (0.0, 0.0)
    neutral = (
        layup.neutral
        if layup is not None and layup.neutral is not None
        else job.core_thickness / 2.0
    )
    kept, stand = below + neutral, _stand_of(layup) if layup is not None else 0.0
    return LaidUp(
        held_curve(job) if rocker is None else rocker,
        board.deck,
        below,
        above,
        kept,
        job.blank.length,
        job.blank.width,
        stand,
    )


def _stand_of(layup: LayupSection) -> float:
    """Returns the height of the cradle at its lowest place, mm: its own, or that of the form, whose
    profile it has."""
    return layup.rib_height if layup.cradle_height is None else layup.cradle_height


def pad_of(job: Job, laid: LaidUp) -> tuple[float, float, float]:
    """Returns X, Y and Z in D of a pad on the cradle that the board does not cover, its top level
    with the cradle's face at X0: there Z is touched.

    It lies in front of the blank, behind it or at its left end: the first place that the machine
    reaches and where nothing stands.
    """
    level, beside = float(laid.bottom(0.0)), laid.width / 2.0 + _PAD
    taken = [Polygon(one.points) for one in job.obstacle if "D" in one.setups]
    wide = 2.0 * (beside + _PAD) <= job.machine.travel[1]
    for x, y in ((0.0, -beside), (0.0, beside)) if wide else ():
        if all(area.distance(Point(x, y)) >= _PAD for area in taken):
            return x, y, level
    return laid.ends[0] - _PAD, 0.0, level


def skin_outside(job: Job, slot: float | None) -> float:
    """Returns how far the laminates reach beyond the outline, mm, along the skin.

    `slot` is how far the far edge of the trim's slot lies outside the outline; None where no
    machine trims.
    """
    given = job.layup.skin_outside if job.layup is not None else None
    if given is not None:
        return given
    return job.groove.outside if slot is None else max(job.groove.outside, slot + _SKIN_LAP)
