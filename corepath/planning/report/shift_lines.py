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

_FLOORS = frozenset(("plug-pockets", "groove"))


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
        return f"{lies}: the inserts. {right} All checks take them where they lie now"
    if setup == "D" and done & {"trim", "bolt-holes"}:
        return f"{lies}. {right}{_too_little(prepared)}"
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
    if setup == "B" and "skim" in prepared.done:
        yield (
            f"set-up B: what it cut lies {way}, and so high the skimmed plane counts from here on. "
            "Measure the thickness after the skim and the seats, which then count: --after-skim, "
            "--seat-depth"
        )
    elif setup == "C" and "deck" in prepared.done and dz < 0.0:
        yield from _too_thin(prepared, -dz)
    elif setup == "C" and "deck" in prepared.known.settled.cut:
        yield (
            f"set-up C: the deck stands {way}. Set Z right and plan again: its file is planned "
            "once more and takes off what is left; then --cut deck again"
        )
    elif setup == "A" and prepared.done & _FLOORS:
        yield (
            f"set-up A: its floors lie {way}, and so deep they count from here on. Measure the "
            "depth of groove and pockets, which narrows it: --groove-depth, --pocket-depth. What "
            "is too shallow can be cut again before the pour: corepath recut"
        )
    elif setup == "D" and prepared.done & {"trim", "bolt-holes"}:
        deeper = (
            "the cradle is cut deeper" if dz < 0.0 else "more of the web is left to cut by hand"
        )
        yield f"set-up D: what it cut lies {way}: {deeper}, holes over inserts lie by as much off"
    else:
        yield f"set-up {setup}: nothing that a shift in Z moves is cut there yet. Set Z right."


def _too_little(prepared: Prepared) -> str:
    """Return what trim or bolt holes off their place leave too little of; empty where enough."""
    check = next(check for check in prepared.checks if check.id == "registration")
    if check.verdict != "fail":
        return f" What must be left at the edge and round the bolts is left: {mm(check.worst):.2f}"
    return (
        f" This core cannot be saved because registration ({check.where}) is "
        f"{mm(check.worst):.2f} in the worst case, and {mm(check.limit):g} is needed; the nearest "
        "way out is to bore the plug out and cast it again by hand, or a smaller board"
    )


def _too_thin(prepared: Prepared, lost: float) -> Iterator[str]:
    """Yield what a deck cut too low leaves over seats and bores; the checks have that deck."""
    checks = [check for check in prepared.checks if check.id in _OVER]
    short = [check for check in checks if check.value < check.limit]
    thin = f"set-up C: the deck lies {mm(lost):.2f} too low, so the core is thinner by that"
    if not short:
        yield f"{thin}. What must be left over seats and bores is left"
    for check in short:
        yield (
            f"{thin}. This core cannot be saved because {check.id} ({check.where}) is "
            f"{mm(check.value):.2f}, and {mm(check.limit):g} is needed; the nearest way "
            f"out is hardware that is {mm(check.limit - check.value):.2f} shorter"
        )
