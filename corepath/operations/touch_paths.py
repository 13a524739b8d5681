"""Find the moves of a file that feels for faces with a probe.

All of them are slow straight lines; the tip goes from place to place at the height that clears
blank and obstacles. Each file of a ball begins by feeling for Z itself, since nothing is known of
its length.
"""

from __future__ import annotations

from collections.abc import Iterator

from corepath.lengths import marked, mm
from corepath.work.touch_program import (
    Axis,
    Feel,
    Rise,
    SetZero,
    Tell,
    To,
    TouchProgram,
    TouchStep,
)
from corepath.work.touching import SPAN, TouchWork

__all__ = ["touch_program"]

FEEL = 60.0
"""mm/min while feeling: what overruns before the control stops is then small (common practice, no
source)."""
_WALK = 1000.0
_DOWN = 300.0
_RISE = 10.0
_NEAR = f"{mm(2.0):.1f} to {mm(8.0):.1f~}"


def touch_program(work: TouchWork, sets: bool) -> TouchProgram:
    """Return the program for one touch work; `sets`: the file sets the zero, else it stops where it
    touches, for the operator to set it."""
    title, steps = {
        "z": (f"Z on {work.zero.on}", _z),
        "edges": ("X and Y from the edges of the squared blank", _edges),
        "holes": ("X and Y from the holes of the dowels", _holes),
        "thickness": ("height of the raw top at the places to measure", _thickness),
    }[work.kind]
    return TouchProgram(
        work.stem, work.setup, title, work.zero, tuple(steps(work, sets)), _says(work, sets),
        work.call,
    )  # fmt: skip


def _says(work: TouchWork, sets: bool) -> tuple[str, ...]:
    tip = (
        f"the ball of a probe, diameter {mm(work.ball):g~}"
        if work.ball
        else f"the cutter of the file to run next, on a plate {mm(work.plate):g~} thick"
    )
    does = (
        f"Sets zero in {work.zero.system} by G10 L2. No offset of G92 may be in force"
        if sets
        else "Stops where it touches: set zero there. Where the control backs off after a touch, "
        "enter the touched place that it shows, not where the tip stands"
    )
    lines = [
        f"Touches with {tip}",
        does,
        "Before: spindle still; touch plate or probe by hand, the control must show it",
        "If nothing is touched within the way given, the control stops with an error: reset, raise "
        "Z by hand, look at plate, clip and cable, begin this file anew",
    ]
    if work.kind == "z":
        lines.insert(1, f"Z0 is {marked(work.zero.touch)}")
    else:
        lines.append(f"X and Y are set within {mm(work.rough):.1f~} before, by eye or as they were")
    if work.ball and work.call is None:
        lines.append("Z then counts for the probe: touch Z anew with the cutter")
    return tuple(lines)


def _z(work: TouchWork, sets: bool) -> Iterator[TouchStep]:
    on = f"the plate on {work.zero.on}" if work.plate else work.zero.on
    yield Tell(f"Bring the tip by hand {_NEAR} above {on}")
    yield Feel("Z", -SPAN, FEEL, relative=True)
    yield from _set(sets, "Z", work.plate, ())
    yield Rise(_RISE, _DOWN)
    high = work.plate + _RISE
    yield Tell(f"Z must show about {mm(high):.1f}, else touch again. Take the plate away")


def _set(sets: bool, axis: Axis, wanted: float, kept: tuple[int, ...]) -> Iterator[TouchStep]:
    if sets:
        yield SetZero(axis, wanted, kept)
    elif not kept:
        yield Tell(f"Touched: set {axis} to {mm(wanted):.3f} here")
    else:
        yield Tell(
            f"Halfway between the last two touches {axis} must be {mm(wanted):.3f}: shift zero so"
        )


def _on_bed(work: TouchWork, sets: bool) -> Iterator[TouchStep]:
    """Yield the steps that find Z with the ball and bring it up to a stop to look."""
    yield Tell(f"Bring the tip by hand {_NEAR} above {work.zero.on}")
    yield Feel("Z", -SPAN, FEEL, relative=True)
    yield from _set(sets, "Z", 0.0, ())
    yield Rise(_RISE, _DOWN)
    yield To(_DOWN, z=work.clear)
    over = work.clear - work.top
    yield Tell(f"Tip must be about {mm(over):.1f} above the blank and clear of clamps, else stop")


def _edges(work: TouchWork, sets: bool) -> Iterator[TouchStep]:
    yield from _on_bed(work, sets)
    half, corner = work.ball / 2.0, work.zero.x != 0.0 or work.zero.y != 0.0
    sides = (-1.0,) if corner else (-1.0, 1.0)
    axes: tuple[tuple[Axis, int], ...] = (("X", 0), ("Y", 1))
    for axis, k in axes:
        names = (("left", "right"), ("front", "back"))[k]
        for number, side in enumerate(sides, start=1):
            wall = side * (work.size[k] / 2.0 + half)
            start, end = wall + side * work.reach, wall - side * work.reach
            keep = 2 * k + number if sets and not corner else None
            yield from _over(work, axis, start)
            yield Feel(axis, end, FEEL, keep=keep)
            if not corner and not sets:
                yield Tell(f"Touched the {names[number - 1]} edge: write {axis} down")
            if corner:
                # one edge alone: the ball's middle stands half its diameter outside of it
                yield from _set(sets, axis, -half, ())
            yield _back(axis, start)
            yield To(_DOWN, z=work.clear)
        if not corner:
            yield from _set(sets, axis, 0.0, (2 * k + 1, 2 * k + 2))


def _over(work: TouchWork, axis: Axis, start: float) -> Iterator[TouchStep]:
    """Yield the way to where an edge is felt for, and down beside it."""
    x, y = (start, work.at[0]) if axis == "X" else (work.at[1], start)
    yield To(_WALK, x, y)
    yield To(_DOWN, z=work.level)


def _back(axis: Axis, to: float) -> To:
    return To(_DOWN, x=to) if axis == "X" else To(_DOWN, y=to)


def _holes(work: TouchWork, sets: bool) -> Iterator[TouchStep]:
    yield from _on_bed(work, sets)
    for number, (x, y) in enumerate(work.places, start=1):
        yield To(_WALK, x, y)
        if number == 1:
            yield Tell("The tip must stand over the hole of dowel 1, else stop and set X and Y")
        yield To(_DOWN, z=work.level)
        yield from _walls(work, (x, y), sets, number)
        yield To(_DOWN, z=work.clear)
        if number > 1:
            yield Tell(f"Halfway, dowel {number} must be {_program_place(work, x, y)}")


def _walls(
    work: TouchWork, place: tuple[float, float], sets: bool, number: int
) -> Iterator[TouchStep]:
    """Yield the touches of the four walls of a hole; the first hole sets the zero, the second only
    shows whether the blank lies right."""
    reach = (work.hole - work.ball) / 2.0 + work.reach
    axes: tuple[tuple[Axis, int], ...] = (("X", 0), ("Y", 1))
    for axis, k in axes:
        for count, side in enumerate((-1.0, 1.0), start=1):
            keep = 2 * k + count if sets and number == 1 else None
            yield Feel(axis, place[k] + side * reach, FEEL, keep=keep)
            if number > 1 or not sets:
                yield Tell(f"Touched a wall: write {axis} down")
            yield _back(axis, place[k])
        if number == 1:
            wanted = place[k] - (work.zero.x, work.zero.y)[k]
            yield from _set(sets, axis, wanted, (2 * k + 1, 2 * k + 2))
            yield _back(axis, place[k])


def _program_place(work: TouchWork, x: float, y: float) -> str:
    return f"X{mm(x - work.zero.x):.3f} Y{mm(y - work.zero.y):.3f}, within 0.1"


def _thickness(work: TouchWork, sets: bool) -> Iterator[TouchStep]:
    yield from _on_bed(work, sets)
    for number, (x, y) in enumerate(work.places, start=1):
        yield To(_WALK, x, y)
        yield To(_DOWN, z=work.top + SPAN / 2.0)
        yield Feel("Z", work.top - SPAN / 2.0, FEEL)
        yield Tell(f"Place {number}, {_named(work, x, y)}: write down the touched X Y Z in a line")
        yield To(_DOWN, z=work.clear)


def _named(work: TouchWork, x: float, y: float) -> str:
    return f"X{mm(x - work.zero.x):.3f} Y{mm(y - work.zero.y):.3f}"
