"""Registration in X and Y: how far what is cut later lies off what was cut in A.

Contributors: play of the dowels, the flip axis (only what is cut in B), the cutter's diameter, and
the wood's movement across the grain since A, which grows with the distance from the line of the
dowels. For wood: movement = coefficient of the species and ring direction (share per % of moisture
content) x change x distance (Wood Handbook, equation of the dimensional change coefficient; tables
in job/data/wood.toml).

With a cradle, trim and bolt holes are cut upright in a board that tilts along its rocker: over the
core's height h a wall runs h tan(tilt) aside, half of it either way from the middle, where it is
placed. And where in its height the core kept its length in the lay-up is known only to
`layup.neutral_error`: times the turn of the board since its middle, that is how far a place may be
off. A core that tapers keeps its length lower where it is thin: *taper*.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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
"""mm: how well a recorded width settles the movement over the whole width (common practice, no
source)."""


@report_keys("kind", "id", Key("value", "left.nominal"), "worst", "rss", "off")
@dataclass(frozen=True, slots=True)
class Registered:
    """One thing that must lie in its place: `left` (mm) is what remains of it, or how far it may be
    off.

    `kind`: "edge" casting left at the board's edge after the trim, "plug" wall of plug round the
    bolt, "seat" how far a seat may lie off its place (nominally 0, only its errors count).
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
        """How far it may be off its nominal value at most."""
        low, high = self.left.worst()
        return max(abs(low - self.left.nominal), abs(high - self.left.nominal))


def registered(stack: Stackup, board: Board) -> tuple[Registered, ...]:
    """Edge, plugs and seats, in that order."""
    job = stack.job
    tolerances = job.tolerances
    across = sum(dowel.at[1] for dowel in board.dowels) / len(board.dowels)
    play = Linear.term("dowel play", tolerances.dowel_play)
    cutter = Linear.term("cutter diameter", _diameter_error(stack)) * 0.5
    _, low, _, high = board.outline.bounds
    farthest = low if abs(low - across) > abs(high - across) else high
    wider = _wider(stack)
    slant = _Slant.of(stack, board)
    edge = (
        job.groove.inside
        + wider
        + play
        + cutter
        + _moved(stack, farthest - across)
        + slant.at_edge(board)
    )
    found = [Registered("edge", "groove", edge)]
    for casting in board.castings:
        if casting.plug is not None:
            wall = (casting.plug.diameter - casting.plug.bolt_hole) / 2
            x, y = casting.area.centroid.coords[0]
            left = wall + wider + play + cutter + _moved(stack, y - across) + slant.at(x, y)
            found.append(Registered("plug", casting.id, left))
    flip = Linear.term("flip axis", tolerances.flip_axis)
    for place in board.places:
        off = 0.0 + play + flip + _moved(stack, place.y - across)
        found.append(Registered("seat", place.id, off))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Slant:
    """What tilt and lay-up take; nothing without a cradle."""

    laid: LaidUp | None
    error: float = 0.0

    @staticmethod
    def of(stack: Stackup, board: Board) -> _Slant:
        layup = stack.job.layup
        if layup is None or not layup.cradle or layup.rocker is None:
            return _Slant(None)
        return _Slant(laid_up(stack.job, board), layup.neutral_error)

    def at(self, x: float, y: float) -> Linear:
        """The change of what is left at a place of the core."""
        if self.laid is None:
            return Linear.of(0.0)
        return self._taken(x, float(self.laid.deck.height(x, y)))

    def at_edge(self, board: Board) -> Linear:
        """The same at the end of the board where the tilt is largest."""
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


def _wider(stack: Stackup) -> float:
    """How much farther out than asked for each wall came, by the coupon's groove."""
    settled = stack.heights.settled
    if settled.coupon_groove_width is None or settled.coupon_groove_nominal is None:
        return 0.0
    return (settled.coupon_groove_width - settled.coupon_groove_nominal - _made_up_for(stack)) / 2.0


def _made_up_for(stack: Stackup) -> float:
    """How much of a wider groove the paths make up for by now: what the cutter that was measured is
    larger.

    The coupon was cut with the listed diameter. Of several cutters the one that leaves least of the
    casting counts.
    """
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
    """Narrowed to the gauge's where the coupon gave the true diameters of all cutters that walls
    may be cut with."""
    tolerances = stack.job.tolerances
    settled = stack.heights.settled
    flat = {one.number for one in stack.job.cutter if one.shape == "flat"}
    known = flat <= set(settled.coupon_diameter) or settled.coupon_groove_width is not None
    return (
        min(tolerances.gauge, tolerances.cutter_diameter) if known else tolerances.cutter_diameter
    )


def _moved(stack: Stackup, distance: float) -> Linear:
    """Movement of the wood at `distance` across the grain from the dowels, since A.

    With the blank's width recorded at A and later, the movement is known but for the reading.
    """
    job = stack.job
    widths = stack.heights.settled.widths
    before = [widths[stage] for stage in ("blank", "A") if stage in widths]
    later = [widths[stage] for stage in ("cast", "B", "inserts", "C") if stage in widths]
    if before and later:
        share = (later[-1] - before[-1]) / before[-1]
        error = Linear.term("width as measured", SETTLED) * (abs(distance) / job.blank.width)
        return -abs(share * distance) + error
    coefficient = woods()[job.blank.wood].across(job.blank.grain)
    return Linear.term("moisture", job.tolerances.moisture) * (coefficient * abs(distance))


def registration(stack: Stackup, board: Board) -> Check:
    """The check on what must stay: casting at the edge and wall round the bolts."""
    words = {
        "edge": "casting left at the edge after the trim",
        "plug": "wall of plug round the bolt",
    }
    things = registered(stack, board)
    seats = [thing for thing in things if thing.kind == "seat"]
    off = max((thing.left.worst()[1] for thing in seats), default=None)
    note = "" if off is None else f"; seats up to {mm(off):.2f} off their places"
    return weakest(
        judge(
            "registration",
            thing.left,
            stack.job.limits.registration,
            says=f"{words[thing.kind]}, {mm(thing.left.worst()[0]):.2f} in the worst case{note}",
            where=f"{thing.kind} {thing.id}",
            mend="a wider casting, drier and better-acclimatised wood, or tighter dowels",
        )
        for thing in things
        if thing.kind in words
    )
