"""How zero is found and a cutter is touched off, in the words of head, message, drawing and sheet.

`show` gives a length (mm) as the page or file shows it, without its unit.
"""

from __future__ import annotations

from collections.abc import Callable

from corepath.motion.program import Zero

__all__ = ["again_words", "dowel_words", "touch_words", "xy_words"]

Show = Callable[[float], str]


def _where_words(zero: Zero) -> str:
    """Says which place of the blank X0 Y0 is."""
    return (
        "front-left corner of the blank as it lies" if zero.x or zero.y else "middle of the blank"
    )


def xy_words(zero: Zero, show: Show) -> str:
    """Says which place X0 Y0 is and how it is found in this set-up, for this file."""
    where = _where_words(zero)
    if zero.by == "edges":
        sides = "its left and its front edge" if zero.x or zero.y else "opposite edges, and halve"
        return (
            f"{where}, from the squared blank: touch {sides}, or take it from pins or a mark; no "
            "dowel is set yet"
        )
    if zero.by == "bed":
        return (
            "middle of the bed: its cross, or halfway between the pin holes, once they are there. "
            "Write down where it is in machine coordinates: all jobs lie about it"
        )
    if zero.by == "edge":
        return "left end of the edge to be, by eye along a straight line: it is cut along Y0"
    if zero.by == "pins":
        return (
            f"{where}, from the holes that are in the bed, before the blank lies on them: "
            f"{dowel_words(zero, show)}. Then take the pins out and lay the blank over the holes"
        )
    if zero.by == "cradle":
        return f"{where}, from the marks on the cradle: its middle line and X0 along the chord"
    dowels = dowel_words(zero, show)
    if zero.by == "kept":
        return (
            f"{where}, as set for the dowel holes. If lost: from the dowels, never from an "
            f"edge: {dowels}"
        )
    return f"{where}, from the dowels, never from an edge: {dowels}"


def dowel_words(zero: Zero, show: Show) -> str:
    """Says where the dowels are in the coordinates of the program."""
    places = [
        f"dowel {k} is X{show(x - zero.x)} Y{show(y - zero.y)}"
        for k, (x, y) in enumerate(zero.dowels, start=1)
    ]
    return ", ".join(places)


def touch_words(zero: Zero, cutter: str) -> str:
    """Says to fit a cutter and to touch Z with it; a few words for a message."""
    held = "" if zero.system == "G54" else f" of {zero.system}"
    return f"Fit {cutter}, touch Z{held} with it on {zero.on}"


def again_words(zero: Zero) -> str:
    """Says whether Z may be touched again with the same cutter."""
    return "you may touch off again" if zero.again else "touch once, do not touch off again"
