"""Writes the lines that all files have in common: preamble, cutter, stops, spindle."""

from __future__ import annotations

from corepath.gcode.write.comments import message
from corepath.gcode.write.numbers import TickGrid

__all__ = ["g_word", "preamble", "spindle_on", "stop", "tool_call"]


def g_word(code: int) -> str:
    """Return the word of a G code given as ten times its number.

    >>> g_word(540), g_word(591)
    ('G54', 'G59.1')
    """
    return f"G{code / 10:g}"


def preamble(grid: TickGrid, system: str, path: str, offset: str = "G49") -> list[str]:
    """Return the modal state that a file relies on, one word a line, and the spindle off.

    `system` is the word of the coordinate system, `path` that of path control (empty: left as it
    is), `offset` that of the tool length offset.
    """
    words = ("G17", grid.word, "G90", "G94", system, "G40", offset, "G80", path, "M5")
    return [word for word in words if word]


def tool_call(number: int, *, changes: bool) -> str:
    """Return the line that names the cutter; with `changes` the machine fits it (M6)."""
    return f"T{number} M6" if changes else f"T{number}"


def stop(text: str) -> list[str]:
    """Return a stop (M0), after the message to the operator."""
    return [*message(text), "M0"]


def spindle_on(rpm: float, wait: float) -> list[str]:
    """Return the lines that start the spindle and wait `wait` seconds until it is up to speed."""
    return [f"S{rpm:g} M3", f"G4 P{wait:.1f}"]
