"""Registration in X and Y: how far later cuts may be off those of set-up A. Lengths in mm.

Contributors: play of the dowels, the flip axis (only for cuts in B), the cutter's diameter, and the
movement of the wood across the grain since A, which grows with the distance from the line of the
dowels. Movement = coefficient of the species and ring direction (share per % of moisture content) x
change x distance (Wood Handbook, equation of the dimensional change coefficient; tables in
job/data/wood.toml).

With a cradle, trim and bolt holes are cut upright in a board that tilts along its rocker: over the
core's height h a wall moves h tan(tilt) sideways, half of it either way from the middle height,
where it is placed. And at which height the core kept its length in the lay-up is known only within
`layup.neutral_error`: that times the turn of the board since its middle is how far a place may be
off. A tapered core keeps its length at a lower height where it is thin: *taper*.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from corepath.board.displaced import off_places
from corepath.board.features import Board
from corepath.job.tables.builtin import woods
from corepath.layup.laid import LaidUp, laid_up
from corepath.lengths import mm
from corepath.reported import Key, report_keys
from corepath.stackup.checks.judge import judge, weakest
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear
from corepath.stackup.stackup import Stackup

__all__ = ["Registered", "registered", "registration"]

SETTLED = 0.1
"""mm: how well two recorded widths determine the movement over the whole width (common practice, no
source)."""


@report_keys("kind", "id", Key("value", "left.nominal"), "worst", "rss", "off")
@dataclass(frozen=True, slots=True)
class Registered:
    """One feature that must lie in its place: `left` (mm) is what remains of it, or how far it is
    off.

    `kind`: "edge" casting left at the edge of the board after the trim, "plug" wall of the plug
    round the bolt, "seat" how far a seat may be off its place (nominally 0, or by how much set-up
    B was found shifted or itself was found off).
    """

    kind: str
    id: str
    left: Linear

    @property
    def worst(self) -> float:
        return self.left.worst()[0]

    @property
    def rss(self) -> float:
        return self.left.rss()[0]

    @property
    def off(self) -> float:
        """The most by which it may differ from its nominal value, mm."""
        low, high = self.left.worst()
        return max(abs(low - self.left.nominal), abs(high - self.left.nominal))


def registered(stack: Stackup, board: Board) -> tuple[Registered, ...]:
    """Work out what is left of edge, plugs and seats, in that order."""
    job = stack.job
    tolerances = job.tolerances
    # Dowels hold the wood in place, so it moves away from their line, on both sides.
    across = sum(dowel.at[1] for dowel in board.dowels) / len(board.dowels)
    play = Linear.term("dowel play", tolerances.dowel_play)
    # half: a wall lies a radius from the path
    cutter = Linear.term("cutter diameter", _diameter_error(stack)) * 0.5
    _, low, _, high = board.outline.bounds
    farthest = low if abs(low - across) > abs(high - across) else high
    # Whether the dowel holes lie off with the castings is not known: then nothing would be lost.
    wider = _wider(stack) + Linear.term("shift in A", _shifted(stack, "dowels"))
    slant = _Slant.of(stack, board)
    edge = (
        job.groove.inside
        + wider
        + play
        + cutter
        + _moved(stack, farthest - across)
        + slant.at_edge(board)
        # whichever way it lies off, it takes from one side of the board
        - _shifted(stack, "trim")
    )
    found = [Registered("edge", "groove", edge)]
    for casting in board.castings:
        if casting.plug is not None:
            wall = (casting.plug.diameter - casting.plug.bolt_hole) / 2
            x, y = casting.area.centroid.coords[0]
            left = wall + wider + play + cutter + _moved(stack, y - across) + slant.at(x, y)
            left = left - _shifted(stack, "bolt-holes")
            found.append(Registered("plug", casting.id, left))
    flip = Linear.term("flip axis", tolerances.flip_axis)
    settled = stack.heights.settled
    found_off = off_places(job, board, settled)
    for place in board.places:
        beside = math.hypot(*found_off.get(place.id, (0.0, 0.0)))
        known = place.id in settled.off_place
        # one that was measured lies where it lies, whatever the dowels and the flip did
        error = Linear.term("rule or gauge", tolerances.gauge) if known else play + flip
        off = beside + error + _moved(stack, place.y - across)
        found.append(Registered("seat", place.id, off))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Slant:
    """What tilt and lay-up take from a width; nothing without a cradle."""

    laid: LaidUp | None
    error: float = 0.0

    @staticmethod
    def of(stack: Stackup, board: Board) -> _Slant:
        layup = stack.job.layup
        if layup is None or not layup.cradle or layup.rocker is None:
            return _Slant(None)
        return _Slant(laid_up(stack.job, board), layup.neutral_error)

    def at(self, x: float, y: float) -> Linear:
        """Return the change of what is left at a place of the core, mm."""
        if self.laid is None:
            return Linear.of(0.0)
        return self._taken(x, float(self.laid.deck.height(x, y)))

    def at_edge(self, board: Board) -> Linear:
        """Return the same at the end of the board where the tilt is largest."""
        if self.laid is None:
            return Linear.of(0.0)
        left, _, right, _ = board.outline.bounds
        steepest = max(
            (left, right),
            key=lambda x: round(abs(float(self.laid.tilt(x))), 9) if self.laid else 0.0,
        )
        return self._taken(steepest, self.laid.deck.edge)

    def _taken(self, x: float, height: float) -> Linear:
        assert self.laid is not None
        tilt = abs(float(self.laid.tilt(x)))
        turn = abs(float(self.laid.tilt(x) - self.laid.tilt(0.0)))
        taper = Linear.term("taper", abs(float(self.laid.taper_shift(x))))
        return -height / 2.0 * math.tan(tilt) + Linear.term("lay-up", self.error) * turn + taper


def _shifted(stack: Stackup, operation: str) -> float:
    """Return how far (mm) what an operation cut lies off its place in X and Y, by a shift recorded
    in its set-up; 0 while it is not cut."""
    dx, dy, _ = stack.heights.settled.shift_of(operation)
    return math.hypot(dx, dy)


def _wider(stack: Stackup) -> float:
    """Return how much farther out each wall was cut than asked for, by the groove of the test
    piece, mm."""
    settled = stack.heights.settled
    if settled.coupon_groove_width is None or settled.coupon_groove_nominal is None:
        return 0.0
    return (settled.coupon_groove_width - settled.coupon_groove_nominal - _made_up_for(stack)) / 2.0


def _made_up_for(stack: Stackup) -> float:
    """Return how much of a wider groove today's paths compensate for: by how much the measured
    cutter is larger than listed, mm."""
    # The test piece was cut for the listed diameter; paths now use the recorded one. Which cutter
    # made its groove is not recorded, so the largest compensation counts: it leaves least casting.
    recorded = stack.heights.settled.coupon_diameter
    return max(
        (
            one.diameter - one.listed
            for one in stack.job.cutter
            if one.number in recorded and one.shape == "flat"
        ),
        default=0.0,
    )


def _diameter_error(stack: Stackup) -> float:
    """Return the ± of the cutter's diameter, mm: the gauge's where the test piece gave the diameter
    of every cutter that walls may be cut with."""
    tolerances = stack.job.tolerances
    settled = stack.heights.settled
    flat = {one.number for one in stack.job.cutter if one.shape == "flat"}
    known = flat <= set(settled.coupon_diameter) or settled.coupon_groove_width is not None
    return (
        min(tolerances.gauge, tolerances.cutter_diameter) if known else tolerances.cutter_diameter
    )


def _moved(stack: Stackup, distance: float) -> Linear:
    """Return the movement of the wood since A at `distance` (mm, across the grain) from the dowels.

    With the blank's width recorded at A and later, it is known but for the error of reading.
    """
    job = stack.job
    widths = stack.heights.settled.widths
    # The latest width up to A, and the latest of all since: the wood moved by their difference.
    before = [widths[stage] for stage in ("blank", "A") if stage in widths]
    later = [widths[stage] for stage in ("cast", "B", "inserts", "C") if stage in widths]
    if before and later:
        share = (later[-1] - before[-1]) / before[-1]
        error = Linear.term("width as measured", SETTLED) * (abs(distance) / job.blank.width)
        # Whichever way the wood moved, it takes from what is left on one of the two sides.
        return -abs(share * distance) + error
    coefficient = woods()[job.blank.wood].across(job.blank.grain)
    return Linear.term("moisture", job.tolerances.moisture) * (coefficient * abs(distance))


def registration(stack: Stackup, board: Board) -> Check:
    """Check what must be left: casting at the edge and wall round the bolts."""
    words = {
        "edge": "casting left at the edge after the trim",
        "plug": "wall of plug round the bolt",
    }
    things = registered(stack, board)
    seats = [thing for thing in things if thing.kind == "seat"]
    # Either way: a movement that is known may lie to one side of the place.
    off = max((max(-low, high) for low, high in (one.left.worst() for one in seats)), default=None)
    note = "" if off is None else f"; seats up to {mm(off):.2f} off their places"
    return weakest(
        judge(
            "registration",
            thing.left,
            stack.job.limits.registration,
            message=f"{words[thing.kind]}, {mm(thing.left.worst()[0]):.2f} in the worst case{note}",
            where=f"{thing.kind} {thing.id}",
            fix="a wider casting, drier and better-acclimatised wood, or tighter dowels",
        )
        for thing in things
        if thing.kind in words
    )
