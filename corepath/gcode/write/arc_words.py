"""Arcs in the form that RS-274 asks for: whole ticks, centre by I and J, at most half a turn a
line.

All lengths are in ticks (see `corepath.gcode.write.numbers`), X and Y as written; a *turn* is
positive counter-clockwise. The ends of an arc are rounded first; the centre is then moved onto the
bisector of the rounded ends and rounded, so that start and end radius differ by the rounding of I
and J alone. NIST IR 6556, 3.5.3.2 allows them 0.002 mm or 0.0002 inch: `RADII_AGREE` is a tenth of
it in either unit.
"""

from __future__ import annotations

import math
from typing import NamedTuple

__all__ = ["CHORD", "RADII_AGREE", "Arc", "ArcPiece", "chords", "pieces"]

# Ticks: 0.0002 mm, or 0.00002 inch.
RADII_AGREE = 2.0
CHORD = 0.0028
"""How far chords may leave an arc, mm: 0.003 less what the rounding of their ends adds."""

# mm: ends of an arc that lie closer are one place, and the arc a full circle.
_FULL = 1e-6
# mm between the radii of a move from which on it is no arc but a fault of the planner.
_DISAGREE = 0.01
# Ticks: rounding moves each end by up to 0.7 of a tick, which turns an arc of this length by up to
# four degrees. See `pieces`.
_SHORT = 20.0
_QUARTER = math.pi / 2.0
# Centres tried in turn, in ticks from the nearest: the first that agrees is taken.
_NUDGES = ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1))


class ArcPiece(NamedTuple):
    """One line to be written, to (x, y) in ticks: an arc whose centre lies (i, j) from its start,
    or straight if both are 0.

    `share` is the part of the whole arc (0 to 1) that is done at its end, which gives Z on a helix.
    """

    x: int
    y: int
    share: float
    i: int = 0
    j: int = 0


class Arc(NamedTuple):
    """An arc before rounding, in ticks: centre, radius at start and end, start angle, sweep
    (radians, positive counter-clockwise)."""

    cx: float
    cy: float
    r0: float
    r1: float
    angle: float
    sweep: float

    @staticmethod
    def between(
        start: tuple[float, float],
        end: tuple[float, float],
        i: float,
        j: float,
        ccw: bool,
        mm: float,
    ) -> Arc:
        """Return the arc from `start` to `end` about `start` + (i, j), all in ticks; `mm` is the
        number of ticks in a mm.

        Ends closer than 1e-6 mm mean a full circle. Raises ValueError where start and end lie at
        radii that differ by more than 0.01 mm: such a move is no arc.
        """
        cx, cy = start[0] + i, start[1] + j
        ax, ay, bx, by = -i, -j, end[0] - cx, end[1] - cy
        r0, r1 = math.hypot(ax, ay), math.hypot(bx, by)
        if abs(r0 - r1) > _DISAGREE * mm:
            raise ValueError(f"arc from radius {r0 / mm:.4f} mm to radius {r1 / mm:.4f} mm")
        sweep = math.atan2(ax * by - ay * bx, ax * bx + ay * by)
        if math.hypot(bx - ax, by - ay) < _FULL * mm:
            sweep = math.tau if ccw else -math.tau
        elif ccw and sweep < 0.0:
            sweep += math.tau
        elif not ccw and sweep > 0.0:
            sweep -= math.tau
        return Arc(cx, cy, r0, r1, math.atan2(ay, ax), sweep)

    @property
    def full(self) -> bool:
        return abs(self.sweep) == math.tau

    def point(self, share: float) -> tuple[float, float]:
        """Return the place after a `share` (0 to 1) of the sweep."""
        angle, radius = self.angle + self.sweep * share, self.r0 + (self.r1 - self.r0) * share
        return self.cx + radius * math.cos(angle), self.cy + radius * math.sin(angle)

    def extremes(self) -> list[tuple[float, float]]:
        """Return the places between start and end at which the arc is farthest along an axis."""
        # They lie at whole quarter turns.
        low, high = self.angle / _QUARTER, (self.angle + self.sweep) / _QUARTER
        if low > high:
            low, high = high, low
        first, last = math.ceil(low), math.floor(high)
        if first > last or not self.sweep:
            return []
        return [
            self.point((k * _QUARTER - self.angle) / self.sweep) for k in range(first, last + 1)
        ]


def pieces(arc: Arc, start: tuple[int, int], end: tuple[int, int], mm: float) -> list[ArcPiece]:
    """Return `arc` from the rounded `start` to the rounded `end` as pieces of at most half a turn.

    A piece whose radii still do not agree, or shorter than 20 ticks, becomes chords within `CHORD`
    of the arc. `mm` is the number of ticks in a mm.
    """
    if abs(arc.sweep) < math.pi:  # nearly all
        return _piece(arc, start, end, (arc.cx, arc.cy), mm)
    cx, cy = arc.cx, arc.cy
    if arc.full:
        # About a centre on the grid both halves agree exactly, and their ends lie opposite each
        # other.
        cx, cy = _rounded((cx, cy))
        stops = [(2 * cx - start[0], 2 * cy - start[1]), end]
    else:
        # 1e-7: a sweep of half a turn but for rounding is one piece.
        count = max(math.ceil(abs(arc.sweep) / math.pi - 1e-7), 1)
        stops = [_rounded(arc.point(k / count)) for k in range(1, count)] + [end]
    found: list[ArcPiece] = []
    before, at = 0.0, start
    for k, stop in enumerate(stops, start=1):
        share = k / len(stops)
        found += _piece(arc, at, stop, (cx, cy), mm, (before, share))
        before, at = share, stop
    return found


def _piece(
    arc: Arc,
    start: tuple[int, int],
    end: tuple[int, int],
    centre: tuple[float, float],
    mm: float,
    shares: tuple[float, float] = (0.0, 1.0),
) -> list[ArcPiece]:
    """Return the stretch of `arc` between two `shares` of its sweep as one arc from `start` to
    `end` about a place near `centre`, or as chords."""
    x, y = start
    first, last = shares
    # The direction of so short an arc is that of the rounding of its ends, not of its circle.
    if abs(arc.sweep) * (last - first) * arc.r0 >= _SHORT:
        ends = end[0] - x, end[1] - y
        found = _centre(*ends, centre[0] - x, centre[1] - y, arc.sweep > 0.0)
        if found is not None:
            return [ArcPiece(end[0], end[1], last, found[0], found[1])]
    return chords(arc, end, mm, first, last)


def chords(
    arc: Arc, end: tuple[int, int], mm: float, first: float = 0.0, last: float = 1.0
) -> list[ArcPiece]:
    """Return the stretch of `arc` between two shares of its sweep, `first` to `last`, as straight
    pieces within `CHORD` of it; `end` is its rounded end, `mm` the number of ticks in a mm.

    Step of the angle: 2 acos(1 - e/R) for an error e (geometry of the circle).
    """
    # No radius of 0 to divide by.
    radius = max(arc.r0, arc.r1, 1e-9)
    step = 2.0 * math.acos(max(1.0 - CHORD * mm / radius, 0.0))
    count = max(math.ceil(abs(arc.sweep) * (last - first) / step - 1e-9), 1)
    shares = [first + (last - first) * k / count for k in range(1, count)]
    return [ArcPiece(*_rounded(arc.point(share)), share) for share in shares] + [
        ArcPiece(*end, last)
    ]


def _rounded(point: tuple[float, float]) -> tuple[int, int]:
    return round(point[0]), round(point[1])


def _centre(dx: int, dy: int, cx: float, cy: float, ccw: bool) -> tuple[int, int] | None:
    """Return I and J for an arc to (dx, dy) about a centre near (cx, cy), all from the start; None
    where no centre agrees."""
    square = dx * dx + dy * dy
    if not square:
        return None
    # Onto the bisector of the chord: there both radii are the same before the centre is rounded.
    aside = ((cx - dx / 2.0) * dx + (cy - dy / 2.0) * dy) / square
    near_i, near_j = round(cx - aside * dx), round(cy - aside * dy)
    for di, dj in _NUDGES:
        i, j = near_i + di, near_j + dj
        # `turn` < 0: the centre lies on the other side of the chord, so the control would go the
        # long way around. On the chord (0) it must lie between the ends: half a turn.
        turn = j * dx - i * dy if ccw else i * dy - j * dx
        if turn < 0 or (turn == 0 and i * (dx - i) + j * (dy - j) <= 0):
            continue
        if abs(math.hypot(i, j) - math.hypot(dx - i, dy - j)) < RADII_AGREE - 1e-6:
            return i, j
    return None
