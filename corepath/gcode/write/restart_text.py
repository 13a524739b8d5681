"""Writes a restart: a head of its own, the preamble that restores the modal state, a stop to look,
safe Z, spindle, dwell, a rapid above the place, a plunge, and then the rest of the file as it is.

Only the first motion may get words that it had left to the lines before. Lengths and places are
program coordinates in mm, feeds mm/min; they are written in the unit of the file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from corepath.gcode.write.commands import g_word, preamble, spindle_on, stop, tool_call
from corepath.gcode.write.comments import comment
from corepath.gcode.write.numbers import GRIDS, TickGrid

__all__ = ["Completion", "Descent", "RestartSource", "RestartState", "restart_text"]

_ASK = "Check cutter, zero, chips cleared, work held; then cycle start"


@dataclass(frozen=True, slots=True)
class RestartState:
    """The state at the start of line `line`; `place` is (x, y, z).

    `motion` and `system` are ten times a G number; `motion` is None where none was stated. `path`,
    `coolant`, `override` and `offset` are the words last given of these groups, or empty.
    """

    line: int
    place: tuple[float, float, float]
    inch: bool
    absolute: bool
    inverse_time: bool
    motion: int | None
    cycle: tuple[float | None, float | None, float | None, float | None]
    to_initial: bool
    feed: float
    speed: float
    spindle: bool
    backwards: bool
    tool: int | None
    changed: bool
    system: int
    path: str
    coolant: tuple[str, ...]
    override: str
    offset: str

    @property
    def grid(self) -> TickGrid:
        return GRIDS["inch" if self.inch else "mm"]


@dataclass(frozen=True, slots=True)
class Descent:
    """How the cutter comes back to its place: from the height `clear`, at the feed `plunge` if it
    `goes_down`.

    `wait` is the dwell in seconds for the spindle. `first_way` are the lines of the file by which
    it comes down to a stop at `first_feed`, before the spindle turns; empty if it has none.
    """

    clear: float
    plunge: float
    wait: float
    goes_down: bool
    first_feed: float
    first_way: tuple[str, ...]


class Completion(NamedTuple):
    """What a line had left to the lines before: its motion mode, and (letter, value, whether a
    length) of a cycle."""

    motion: int | None
    words: tuple[tuple[str, float, bool], ...]


@dataclass(frozen=True, slots=True)
class RestartSource:
    """The file that is continued: its name and digest, the line `asked` for and `why` the restart
    begins with another, the comments of its head, and the lines of the rest, each with the words
    that it must be given."""

    file: str
    sha256: str
    asked: int
    why: str
    head: Sequence[str]
    rest: Sequence[tuple[str, Completion | None]]


def restart_text(source: RestartSource, state: RestartState, descent: Descent) -> str:
    """Return the whole text, each line ended by a line feed; its own comments have at most 80
    characters."""
    grid = state.grid
    lines = [
        *(line for text in _says(source, state, descent) for line in comment(text)),
        *source.head,
        *_preamble(state),
        *_approach(state, descent),
        *comment(f"From line {state.line} of the file on:"),
        *(_completed(line, completion, grid) for line, completion in source.rest),
    ]
    return "\n".join(lines) + "\n"


def _says(source: RestartSource, state: RestartState, descent: Descent) -> Iterator[str]:
    grid, unit = state.grid, state.grid.short
    x, y, z = (grid.precise(value) for value in state.place)
    clear = grid.precise(descent.clear)
    yield f"RESTART of {source.file} from line {source.asked}"
    if source.why:
        yield f"It begins with line {state.line}: {source.why}"
    yield f"sha256 {source.sha256}"
    yield f"Begins at X{x} Y{y} Z{z} {unit}"
    if descent.goes_down:
        yield f"Goes down there at {grid.feed(descent.plunge)} {unit}/min from Z{clear}"
    else:
        yield f"Begins at the safe height Z{clear}"
    same = (
        f"T{state.tool}, the same one, at the same zero"
        if state.tool is not None
        else "the same as before"
    )
    yield f"Cutter: {same}"
    yield "Before cycle start: all lines before that one are cut; cutter whole and at"
    yield "the same length; zero kept, never restart after it is lost; homed again if"
    yield "the power was off; chips cleared; work still held; hose and clamps free."
    yield "The head of the file follows; its minutes and extents are of the whole file."


def _preamble(state: RestartState) -> Iterator[str]:
    yield from preamble(state.grid, g_word(state.system), state.path, state.offset)
    if state.tool is not None:
        yield tool_call(state.tool, changes=state.changed)
    yield from stop(_ASK)


def _approach(state: RestartState, descent: Descent) -> Iterator[str]:
    grid, (x, y, z) = state.grid, state.place
    if descent.first_way:
        yield f"F{_bare(descent.first_feed / grid.mm)}"
        yield from descent.first_way
    yield f"G0 Z{grid.precise(descent.clear)}"
    if state.spindle:
        yield from spindle_on(state.speed, descent.wait)
    yield from state.coolant
    if state.override:
        yield state.override
    yield f"G0 X{grid.precise(x)} Y{grid.precise(y)}"
    if descent.goes_down:
        yield f"F{grid.feed(descent.plunge)}"
        yield f"G1 Z{grid.precise(z)}"
    # The modes that the rest of the file relies on come last: the approach itself is written for
    # G90, G94 and a feed of its own.
    if state.inverse_time:
        yield "G93"
    elif state.feed > 0.0:
        yield f"F{_bare(state.feed / grid.mm)}"
    yield "G98" if state.to_initial else "G99"
    if not state.absolute:
        yield "G91"


def _completed(line: str, completion: Completion | None, grid: TickGrid) -> str:
    """Return a line of the file with the words that it took from lines before."""
    if completion is None:
        return line
    if completion.motion is not None:
        line = _before(line, g_word(completion.motion))
    words = "".join(
        f" {letter}{grid.precise(value) if length else f'{value:g}'}"
        for letter, value, length in completion.words
    )
    return _after(line, words)


def _bare(value: float) -> str:
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _before(line: str, word: str) -> str:
    """Put `word` before the commands of a line, after a block delete sign and a line number."""
    head, rest = "", line.lstrip()
    if rest.startswith("/"):
        head, rest = "/", rest[1:].lstrip()
    if rest[:1] in "Nn":
        count = 1 + len(rest[1:]) - len(rest[1:].lstrip("0123456789 \t"))
        head, rest = f"{head}{rest[:count].strip()} ", rest[count:]
    return f"{head}{word} {rest}"


def _after(line: str, words: str) -> str:
    """Put `words` after the commands of a line, before its comment."""
    commands, sign, rest = line.partition("(")
    return f"{commands.rstrip()}{words}{' ' + sign + rest if sign else ''}" if words else line
