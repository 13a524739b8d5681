"""What a shift found in a set-up means for the core, in words: what lies off, what can still be put
right, and what cannot."""

from __future__ import annotations

import math
from collections.abc import Iterator

from corepath.lengths import Said, mm, said_all
from corepath.planning.prepare import Prepared

__all__ = ["shift_lines"]

_OVER = ("wood-over-seat", "barrel")
"""Checks of what a deck that is cut too low takes away."""


def shift_lines(prepared: Prepared) -> tuple[Said, ...]:
    """Return a line for each thing that a recorded shift means; empty without one."""
    found = []
    for setup, (dx, dy, dz) in prepared.known.settled.shifts.items():
        if dx or dy:
            found.append(_sideways(prepared, setup, math.hypot(dx, dy)))
        if dz:
            found += _upright(prepared, setup, dz)
    return tuple(Said(line) for line in said_all(found))


def _sideways(prepared: Prepared, setup: str, off: float) -> str:
    done = prepared.done
    lies = f"set-up {setup}: what it cut lies {mm(off):.2f} off its place"
    right = "Set X and Y right before anything else is cut."
    if setup == "A":
        return (
            f"{lies}. {right} If the dowel holes lie off with it, nothing is lost, since later "
            "set-ups take X and Y from them; registration counts it as if they did not"
        )
    if setup == "B" and "inserts" in done:
        return f"{lies}: the seats. {right} registration tells it with them"
    if setup == "C" and "deck" in done:
        band = prepared.job.deck.edge_band
        if off <= band:
            return (
                f"{lies}: the deck. Its edge band is {mm(band):g} wide, so the edge keeps its "
                f"thickness; a deck cut again with X and Y right costs nothing where it is lower"
            )
        return (
            f"{lies}: the deck. That is more than its edge band of {mm(band):g}: this core cannot "
            "be saved because its edge is too thin along one side; the nearest way out is a board "
            "smaller by as much, trimmed after the deck"
        )
    return f"set-up {setup}: nothing that a shift sideways moves is cut there yet. {right}"


def _upright(prepared: Prepared, setup: str, dz: float) -> Iterator[str]:
    way = f"{mm(abs(dz)):.2f} too {'high' if dz > 0.0 else 'low'}"
    if setup == "B":
        yield (
            f"set-up B: what it cut lies {way}. Measure the thickness after the skim and the "
            "seats, which then count: --after-skim, --seat-depth"
        )
    elif setup == "C" and "deck" in prepared.done and dz < 0.0:
        yield from _too_thin(prepared, -dz)
    elif setup == "C" and "deck" in prepared.done:
        yield (
            f"set-up C: the deck stands {way}. Set Z right and run its file once more: it takes "
            "off what is left"
        )
    elif setup == "A":
        yield (
            f"set-up A: its floors lie {way}. Measure the depth of groove and pockets, which then "
            "count: --groove-depth, --pocket-depth"
        )
    else:
        yield f"set-up {setup}: nothing that a shift in Z moves is cut there yet. Set Z right."


def _too_thin(prepared: Prepared, lost: float) -> Iterator[str]:
    """Yield what a deck cut too low leaves over seats and bores."""
    checks = [check for check in prepared.checks if check.id in _OVER]
    short = [check for check in checks if check.value - lost < check.limit]
    thin = f"set-up C: the deck lies {mm(lost):.2f} too low, so the core is thinner by that"
    if not short:
        yield f"{thin}. What must be left over seats and bores is left"
    for check in short:
        yield (
            f"{thin}. This core cannot be saved because {check.id} ({check.where}) is "
            f"{mm(check.value - lost):.2f}, and {mm(check.limit):g} is needed; the nearest way "
            f"out is hardware that is {mm(check.limit - check.value + lost):.2f} shorter"
        )
