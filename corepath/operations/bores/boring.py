"""Seats and bores by milling: helix in, spiral out, finishing turn, spring turn. Bed frame of the
set-up, mm.

One step of a hole of diameter D is cut by a cutter of diameter d < D whose axis circles at r = (D −
d)/2:

- In each layer a helix goes down. The core that it may leave in its middle is no wider than the
  stepover, and is removed when the cutter passes to the middle. The helix falls P = 2 pi r tan(a) a
  turn, a the cutter's `ramp_angle` (geometry: tan a = P/(pi (D − d))), and never more than the
  depth of a layer. A level turn takes off its slope. A spiral of half turns, each about a middle of
  its own so that no corner arises between them, goes out by at most the stepover a turn; a level
  turn makes it round.
- Walls keep `finish` for one turn at the full diameter. It is entered by a half turn that widens
  from the rough wall to the finished one, tangent to both, and left by a half turn to the middle.
  Where the step is a seat, a *spring turn* follows, which removes only what the cutter was bent by.

Turns run counter-clockwise, the wall on the right (climb: the cutter turns clockwise seen from
above), or clockwise where the job asks for conventional milling.
"""

from __future__ import annotations

import math

from corepath.geometry.step_counts import fewest_steps
from corepath.motion.program import arc, drill, line
from corepath.operations.entries import ToolpathBuilder
from corepath.work.cutting.running import turn_allowance
from corepath.work.works import Hole, Step, Work

__all__ = ["APPROACH", "BoreTrail", "mill", "slow_below"]

APPROACH = 0.5
"""mm above the stock where a helix begins: more than the error of the touch and of a blank that
lies badly."""

# rad; longest arc in one move, so that rounding of its ends cannot push it past half a turn.
_THIRD = 2.0 * math.pi / 3.0
_WHOLE = 0.95  # share of the cutter's radius: a helix of this radius leaves no core
_CHORD = 0.002  # mm that chords may leave a circle to either side where arcs are not allowed
_WIDEST = 0.4
"""rad: the longest chord, below the 25° from which on a turn is a corner and no bend."""
# Share of a whole step that the first and the last chord of a sweep take: they have one end on the
# circle itself, and pass it by 4 D u(1 - u) - e u where D = 2 e times the square of this share is
# their height over the chord. At 0.85 the most is 0.99 e.
_END = 0.85
# mm; less than this is the middle itself, or the height already reached.
_FLAT = 1e-9


class BoreTrail(ToolpathBuilder):
    """A trail that also turns about centres, either way, and drills."""

    def __init__(self, work: Work) -> None:
        super().__init__(work)
        self._spoke = 0.0

    @property
    def way(self) -> float:
        """1 counter-clockwise, -1 clockwise."""
        return -1.0 if self.work.milling.conventional else 1.0

    def sweep(
        self,
        cx: float,
        cy: float,
        angle: float,
        z: float,
        feed: float,
        end: tuple[float, float] | None = None,
    ) -> None:
        """Turns about a centre by `angle` (rad) in the trail's direction, at even pitch to `z`, in
        pieces of at most a third of a turn.

        `end` is the place where it ends, given where rounding of the angles would miss a place that
        is wanted exactly.
        """
        radius, first = math.dist((cx, cy), self.place), math.atan2(self.y - cy, self.x - cx)
        if not self.work.arcs:
            self._sweep_in_chords((cx, cy), angle, z, feed, end)
            return
        count = max(1, fewest_steps(angle, _THIRD))
        start = self.z
        for k in range(1, count + 1):
            at, level = first + self.way * angle * k / count, start + (z - start) * k / count
            x, y = cx + radius * math.cos(at), cy + radius * math.sin(at)
            if k == count and end is not None:
                x, y = end
            self._add(arc(self.way < 0.0, (x, y, level), (cx - self.x, cy - self.y), feed))

    def _sweep_in_chords(
        self,
        centre: tuple[float, float],
        angle: float,
        z: float,
        feed: float,
        end: tuple[float, float] | None,
    ) -> None:
        """The same in chords that leave the circle by `_CHORD` to either side at most.

        A chord between places e outside a circle of radius r passes it by e inside where (r + e)
        cos(step / 2) = r - e: by a step longer by sqrt(2) than that of a chord between places on
        the circle. On a helix such a chord is no steeper than the arc, since it is longer; those of
        a sweep of one or two may be, by 0.4 %.
        """
        (cx, cy), radius = centre, math.dist(centre, self.place)
        first, start = math.atan2(self.y - cy, self.x - cx), self.z
        shares = _chord_shares(angle, radius)
        step = angle * max(shares)
        cosine = math.cos(step / 2.0)
        out = radius + radius * (1.0 - cosine) / (1.0 + cosine)
        done = 0.0
        for k, share in enumerate(shares, start=1):
            done += share
            last = k == len(shares)
            at, reach = first + self.way * angle * done, radius if last else out
            x, y = cx + reach * math.cos(at), cy + reach * math.sin(at)
            if last and end is not None:
                x, y = end
            self._add(line(x, y, z if last else start + (z - start) * done, feed))

    def half(self, hole: Hole, radius: float, z: float, feed: float) -> None:
        """Half a turn, tangent at either end, from where the cutter stands to `radius` on the other
        side of the hole.

        A `radius` of 0 leads to the middle; from there it leads out again the way that the cutter
        came.
        """
        here = math.dist((hole.x, hole.y), self.place)
        # From the middle there is no direction to measure: the one of the last half turn is
        # remembered and reversed.
        if here > _FLAT:
            self._spoke = math.atan2(self.y - hole.y, self.x - hole.x)
        else:
            self._spoke += math.pi
        # A half circle from `here` on one side of the hole to `radius` on the other has its middle
        # half their difference off, towards where the cutter stands (away from it if negative).
        reach = (here - radius) / 2.0
        cx, cy = hole.x + reach * math.cos(self._spoke), hole.y + reach * math.sin(self._spoke)
        self.sweep(cx, cy, math.pi, z, feed, (hole.x, hole.y) if radius == 0.0 else None)

    def cycle(self, x: float, y: float, z: float, feed: float, retract: float, peck: float) -> None:
        """A drilling cycle (see `motion.cycles`); the cutter then stands at `retract`."""
        self._add(drill(x, y, z, feed, retract, peck))
        self.z = retract


def _chord_shares(angle: float, radius: float) -> list[float]:
    """Shares of a sweep of `angle` (rad) that its chords take, as few as `_CHORD` allows on a
    circle of `radius` mm."""
    # both ends on the circle: the height over the chord is r (1 - cos(step / 2))
    if angle <= min(2.0 * math.acos(max(1.0 - _CHORD / radius, 0.0)), _WIDEST):
        return [1.0]
    apart = max((radius - _CHORD) / (radius + _CHORD), 0.0)
    step = min(2.0 * math.acos(apart), _WIDEST)
    between = fewest_steps(max(angle - 2.0 * _END * step, 0.0), step)
    whole = between + 2.0 * _END
    return [_END / whole, *[1.0 / whole] * between, _END / whole]


def _pitch_of(work: Work, radius: float) -> float:
    """Fall of a helix of this radius in one turn, mm: by the ramp angle, at most a layer."""
    return min(
        2.0 * math.pi * radius * math.tan(math.radians(work.cutter.ramp_angle)), work.cutting.depth
    )


def slow_below(work: Work, hole: Hole) -> float:
    """Height (mm) below which feeds are halved, so that the last fibres are cut and not pushed out;
    −inf for a blind hole."""
    return (
        -math.inf
        if hole.breaks_through is None
        else hole.breaks_through + work.milling.break_through
    )


def _layer_floors(top: float, floor: float, depth: float) -> list[float]:
    """Heights of equal layers from `top`, none deeper than `depth`; the last is `floor` itself."""
    count = max(1, fewest_steps(top - floor, depth))
    return [*(top - (top - floor) * k / count for k in range(1, count)), floor]


def mill(trail: BoreTrail, hole: Hole, step: Step, above: float, first: bool) -> None:
    """Mills one step of a hole from the stock at `above` to its floor, ending in the middle of the
    hole.

    The `first` step is entered from the safe height; the others begin in the middle of the floor
    above them.
    """
    work = trail.work
    full = (step.diameter - work.cutter.diameter) / 2.0
    rough = full - turn_allowance(work.milling.finish_allowance, full)
    # The widest helix that leaves no core wider than a stepover: the cutter covers its radius
    # inwards.
    inner = min(rough, work.cutter.radius + work.cutting.stepover / 2.0)
    # Turns of the spiral between helix and rough wall, none wider than the stepover.
    turns = fewest_steps(rough - inner, work.cutting.stepover)
    # Only then must each layer be cleared to the middle before the next; otherwise one helix goes
    # all the way down.
    core = inner > _WHOLE * work.cutter.radius
    _enter(trail, hole, inner, above, first)
    for k, z in enumerate(
        _layer_floors(above, step.floor, work.cutting.depth) if core else [step.floor]
    ):
        if k:
            _through_middle(trail, hole, inner)
        _helix(trail, hole, inner, z)
        # A seat needs a level floor. Without core or seat the turn at the end levels it.
        if core or step.spring:
            _level(trail, hole, inner, rough, turns)
    feed = _level_feed(trail, hole, finish=rough < full)
    if rough < full:
        trail.half(hole, full, step.floor, feed)
    _turn(trail, hole, feed)
    if step.spring:
        _turn(trail, hole, feed)
    trail.half(hole, 0.0, step.floor, feed)


def _enter(trail: BoreTrail, hole: Hole, radius: float, above: float, first: bool) -> None:
    """To the helix's radius: by a rapid and a short feed above the stock, or from the middle of the
    floor above."""
    cutting = trail.work.cutting
    if not first:
        trail.half(hole, radius, trail.z, cutting.feed)
        return
    trail.hop(hole.x + radius, hole.y, trail.above(hole.top))
    trail.to(trail.x, trail.y, min(trail.z, above + APPROACH), cutting.plunge)


def _helix(trail: BoreTrail, hole: Hole, radius: float, z: float) -> None:
    """Down to `z`, below `slow_below` at half the feed, each part in whole thirds of a turn."""
    slow, ramp = slow_below(trail.work, hole), trail.work.cutting.ramp
    pitch = _pitch_of(trail.work, radius)
    for low, feed in ((max(z, slow), ramp), (z, ramp / 2.0)):
        if low < trail.z - _FLAT:
            turns = (trail.z - low) / pitch
            trail.sweep(hole.x, hole.y, _THIRD * fewest_steps(3.0 * turns, 1.0), low, feed)


def _level(trail: BoreTrail, hole: Hole, inner: float, rough: float, turns: int) -> None:
    """A level turn, then a spiral outwards in `turns` turns and a level turn at its end, if there
    are any."""
    feed = _level_feed(trail, hole)
    _turn(trail, hole, feed)
    for k in range(1, 2 * turns + 1):
        trail.half(hole, inner + (rough - inner) * k / (2 * turns), trail.z, feed)
    if turns:
        _turn(trail, hole, feed)


def _through_middle(trail: BoreTrail, hole: Hole, radius: float) -> None:
    """Half a turn to the middle, which removes the core, and half a turn out to `radius`."""
    feed = _level_feed(trail, hole)
    trail.half(hole, 0.0, trail.z, feed)
    trail.half(hole, radius, trail.z, feed)


def _turn(trail: BoreTrail, hole: Hole, feed: float) -> None:
    trail.sweep(hole.x, hole.y, 2.0 * math.pi, trail.z, feed)


def _level_feed(trail: BoreTrail, hole: Hole, finish: bool = False) -> float:
    feed = trail.work.cutting.finish if finish else trail.work.cutting.feed
    return feed / 2.0 if trail.z < slow_below(trail.work, hole) else feed
