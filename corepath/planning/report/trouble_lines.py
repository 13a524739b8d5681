"""What went wrong with single places, in words: inserts off their places, castings with a void or a
leak. What it means for the core, and what to do now."""

from __future__ import annotations

import math
from collections.abc import Iterator

from corepath.board.displaced import off_places
from corepath.job.record.settled import Settled
from corepath.lengths import Said, mm, said_all
from corepath.planning.prepare import Prepared

__all__ = ["off_place_lines", "sunk_lines"]

_DEEPER = 0.05
"""mm: a seat that much deeper than planned is worth a shim (common practice, no source)."""

_SPOILS = ("spacing", "wood-over-seat", "barrel")
"""Checks that may fail where an insert lies elsewhere."""


def off_place_lines(prepared: Prepared) -> tuple[Said, ...]:
    """Return a line for each insert that was recorded off its place, and why the core is lost
    where it is."""
    return tuple(Said(line) for line in said_all(_off_place(prepared)))


def _off_place(prepared: Prepared) -> Iterator[str]:
    settled: Settled = prepared.known.settled
    if not settled.off_place:
        return
    offs = off_places(prepared.job, prepared.board, settled)
    at = {place.id: (place.x, place.y) for place in prepared.board.places}
    for name in settled.off_place:
        dx, dy = offs.get(name, (0.0, 0.0))
        yield f"{name} lies {mm(math.hypot(dx, dy)):.2f} off its place{_beside(name, at, offs)}"
    for check in prepared.checks:
        if check.id in _SPOILS and check.verdict == "fail":
            yield (
                f"with it {check.id} is {mm(check.value):.2f}, and {mm(check.limit):g} is needed. "
                "This core cannot be saved because of that; the nearest way out is to plug the "
                f"hole with wood or resin and to bore it anew on its place ({check.where})"
            )


def sunk_lines(prepared: Prepared) -> tuple[Said, ...]:
    """Return a line for each seat that was measured deeper than planned, and why the core is lost
    where too little is left over it or over a bore."""
    return tuple(Said(line) for line in said_all(_sunk(prepared)))


def _sunk(prepared: Prepared) -> Iterator[str]:
    settled = prepared.known.settled
    if not (settled.seat_depth or settled.bore_depth):
        return
    sunk = {"wood-over-seat": settled.seat_depth, "barrel": settled.bore_depth}
    lost = [
        check
        for check in prepared.checks
        if check.verdict == "fail" and check.where in sunk.get(check.id, ())
    ]
    planned = {stack.place.id: stack.seat_depth for stack in prepared.stackup.places}
    for name, depth in settled.seat_depth.items():
        deeper = depth - planned.get(name, depth)
        if deeper >= _DEEPER and all(check.where != name for check in lost):
            yield (
                f"the seat of {name} is {mm(deeper):.2f} deeper than planned: a shim of that "
                "thickness under the flange brings it up again"
            )
    for check in lost:
        yield (
            f"this core cannot be saved because {check.id} ({check.where}) is "
            f"{mm(check.worst):.2f} in the worst case, and {mm(check.limit):g} is needed; the "
            f"nearest way out is hardware that needs {mm(check.limit - check.worst):.2f} less, or "
            "to fill the place with resin and bore it anew"
        )


def _beside(
    name: str, at: dict[str, tuple[float, float]], offs: dict[str, tuple[float, float]]
) -> str:
    """Return how far the nearest other insert is now, which hardware goes by."""
    others = [other for other in at if other != name]
    if not others:
        return ""
    near = min(others, key=lambda other: (round(math.dist(at[name], at[other]), 6), other))
    now = math.dist(at[name], at[near])
    meant = math.dist(_meant(name, at, offs), _meant(near, at, offs))
    return (
        f": {mm(now):.2f} from {near} instead of {mm(meant):.2f}. Where the holes of the hardware "
        f"do not allow {mm(abs(now - meant)):.2f}, lengthen them, or plug the hole and bore it anew"
    )


def _meant(
    name: str, at: dict[str, tuple[float, float]], offs: dict[str, tuple[float, float]]
) -> tuple[float, float]:
    """Return the place that an insert should have."""
    (x, y), (dx, dy) = at[name], offs.get(name, (0.0, 0.0))
    return x - dx, y - dy
