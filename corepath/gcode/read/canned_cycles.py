"""Canned cycles of the XY plane as plain motions: drilling (G81), with dwell (G82), pecking (G83)
and boring (G85, G89).

Source: NIST IR 6556 (2000), section 3.5.16. How far a peck stays off the bottom of the hole when it
goes down again is not in that text; 0.254 mm, from memory of its code. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["CYCLES", "PECK_CLEARANCE", "Cycle", "CycleLevels", "CycleStep", "cycle_steps"]

# Ten times the G code.
CYCLES = frozenset({810, 820, 830, 850, 890})
PECK_CLEARANCE = 0.254


@dataclass(slots=True)
class Cycle:
    """The sticky numbers of a cycle: bottom `z`, retract level `r`, dwell `p` (s), peck `q`
    (mm)."""

    z: float | None = None
    r: float | None = None
    p: float | None = None
    q: float | None = None


class CycleLevels(NamedTuple):
    """Heights of a cycle, absolute, mm: the `bottom` of the hole, the `retract` level R, and the
    height `clear` at which it ends, with G98 that of its start where that is higher."""

    bottom: float
    retract: float
    clear: float


class CycleStep(NamedTuple):
    """One motion of a cycle (`rapid` or feed) to (x, y, z), or a dwell of `dwell` seconds there."""

    rapid: bool
    x: float
    y: float
    z: float
    dwell: float = 0.0


def _bottom(
    code: int, x: float, y: float, levels: CycleLevels, cycle: Cycle
) -> Iterator[CycleStep]:
    bottom, retract, clear = levels
    if code == 830:
        peck, reached = cycle.q or 0.0, retract
        while reached > bottom:
            reached = max(reached - peck, bottom)
            yield CycleStep(False, x, y, reached)
            if reached > bottom:
                yield CycleStep(True, x, y, clear)
                yield CycleStep(True, x, y, reached + PECK_CLEARANCE)
    else:
        yield CycleStep(False, x, y, bottom)
        if code in (820, 890):
            yield CycleStep(False, x, y, bottom, cycle.p or 0.0)
    if code in (850, 890):
        yield CycleStep(False, x, y, retract)
        if clear > retract:
            yield CycleStep(True, x, y, clear)
    else:
        yield CycleStep(True, x, y, clear)


def cycle_steps(
    code: int,
    at: tuple[float, float, float],
    places: list[tuple[float, float]],
    levels: CycleLevels,
    cycle: Cycle,
) -> Iterator[CycleStep]:
    """Yield the motions of one line of a cycle `code` from `at` over each of `places`, mm."""
    x, y, z = at
    _, retract, clear = levels
    # Below R the control first rises to it, before it moves sideways.
    if z < retract:
        z = retract
        yield CycleStep(True, x, y, z)
    for x, y in places:
        yield CycleStep(True, x, y, z)
        if z != retract:
            yield CycleStep(True, x, y, retract)
        yield from _bottom(code, x, y, levels, cycle)
        z = clear
