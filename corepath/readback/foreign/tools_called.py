"""Which cutter is in the spindle at each motion of a program, and the stretches that each of them
cuts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.read_program import ReadProgram
from corepath.gcode.read.words import LONGEST_LINE, read_line
from corepath.motion.cutter import Cutter
from corepath.stock.path import Path

__all__ = ["changes_by_m6", "stretches", "tools_called"]


def changes_by_m6(lines: Iterable[str]) -> bool:
    """Tell whether a program changes its tool by M6 anywhere."""
    # Taking every line apart would read a long file twice; few lines hold both an M and a 6.
    likely = (
        text
        for text in lines
        if "6" in text and ("M" in text or "m" in text) and len(text) <= LONGEST_LINE
    )
    return any(
        # 0.0001: as near as RS-274 lets a number be to the integer that it means.
        word.letter == "M" and abs(word.value - 6.0) < 1e-4
        for text in likely
        # a line of a CRLF file ends in CR, which is no word
        for word in read_line(text.rstrip("\r")).words
    )


def tools_called(
    program: ReadProgram, by_m6: bool | None = None, before: int = -1
) -> NDArray[np.int64]:
    """Return the number of the tool at each motion (n,), -1 where none has been called.

    With an M6 anywhere in the program the tool changes at M6 (NIST IR 6556, 3.6.3), otherwise at T,
    as with a change by hand. For a part of a program say whether the whole has an M6 (`by_m6`), and
    which tool was called `before`.
    """
    if by_m6 is None:
        by_m6 = any(event.name == "tool-change" for event in program.events)
    wanted = "tool-change" if by_m6 else "tool"
    tools = np.full(program.count, before, dtype=np.int64)
    for event in program.events:
        if event.name == wanted:
            tools[event.index :] = int(event.value)
    return tools


def stretches(path: Path, tools: NDArray[np.int64], cutters: dict[int, Cutter]) -> Iterator[Path]:
    """Yield the path in parts of one cutter each, in order; `tools` (n,) is the tool number at each
    motion of the program."""
    mine = tools[path.index]
    bounds = [0, *(np.flatnonzero(np.diff(mine)) + 1).tolist(), len(mine)]
    for first, last in pairwise(bounds):
        if first == last:
            continue
        yield replace(path.part(first, last), cutter=cutters[int(mine[first])])
