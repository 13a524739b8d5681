"""How much of a page its blocks take, so that a set-up stays on one side of A4 or Letter.

Lengths on paper, mm. The browser lays the text out; here it is estimated as in a face a tenth wider
than the one that is there, and tests print the pages of the samples in both
(`tests/views/test_short_in_browser.py`). Heights and widths are those of `short.css`: a change
there needs one here.
"""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import NamedTuple

from corepath.lengths import Units
from corepath.views.sheet_html.page_parts import Block, Cell, Rows, Table
from corepath.views.sheet_html.setup_drawing import SetupRoom
from corepath.views.short_sheet.boxes import BoxGroup

__all__ = ["PAPERS", "PAPER_ROOMS", "Paper", "blocks_height", "head_height"]

PAPER_ROOMS = tuple(
    SetupRoom(tallest=tallest, style=f"short-{tallest:.0f}", legend=False)
    for tallest in (62.0, 46.0, 28.0)
)
"""The rooms for a drawing, the largest first: the first that leaves space for all else is taken."""


class Paper(NamedTuple):
    """What a sheet of paper has within its margins, mm."""

    width: float
    height: float


PAPERS = (Paper(188.0, 276.0), Paper(193.9, 258.4))
"""A4 and Letter: lines are shorter on the one, pages lower on the other."""

_HEAD, _HEAD_BELOW, _NEVER = 17.0, 20.0, 11.0
# a title with the space over it; rows of a list, a table and boxes; a further line in each, a note
_TITLE, _RULE, _ROW, _HEADING, _CELLS, _BOXES = 5.6, 0.3, 4.4, 4.2, 5.4, 5.2
_LINE, _CELL_LINE, _BOX_LINE, _NOTE_LINE = 3.6, 3.33, 1.4, 3.3
_ABREAST = 6
# width of a letter: in lists, in tables, of a file's or cutter's name, in notes, in labels of boxes
_LIST, _TABLE, _NAME, _NOTE, _LABEL = 1.5, 1.41, 1.53, 1.38, 1.6
# width of a list's names with the gap after them, and the letters of a name that stand on a line
_NAMES, _NAME_LETTERS = 29.0, 17
# width of a table but for the texts of file, cutter and last column; of boxes but for their labels
_FIXED, _BOXED = 70.0, 87.5


def head_height(face: str, *, never: bool) -> float:
    """Return the height of a page's head, in mm: a set-up with the `face` BELOW has a larger one;
    `never`: with the line that nothing is to be cut."""
    return (_HEAD_BELOW if "BELOW" in face else _HEAD) + (_NEVER if never else 0.0)


def blocks_height(blocks: Sequence[Block | BoxGroup], units: Units, paper: Paper) -> float:
    """Return the height that lists, tables and boxes take on a paper, in mm; drawings count 0."""
    return sum(_height(block, units, paper.width) for block in blocks)


def _height(block: Block | BoxGroup, units: Units, width: float) -> float:
    if isinstance(block, Rows):
        letters = (width - _NAMES) / _LIST
        lines = [
            max(_lines(value, letters, units), _lines(name, _NAME_LETTERS, units))
            for name, value in block.rows
        ]
        return _TITLE + _RULE + sum(_ROW + _LINE * (count - 1) for count in lines)
    if isinstance(block, Table):
        letters = (width - _FIXED - _names_width(block.rows, units)) / _TABLE
        last = [_lines(str(row[-1]), letters, units) for row in block.rows]
        # One line is lower than the row's boxes, so that the second takes less than its height.
        rows = sum(max(_CELLS, 1.1 + _CELL_LINE * count) for count in last)
        return (
            _TITLE + _HEADING + rows + _NOTE_LINE * _lines(block.note, width / _NOTE, units) + 0.6
        )
    if isinstance(block, BoxGroup):
        letters = (width - _BOXED) / _ABREAST / _LABEL
        labels = [_lines(slot.short or slot.label, letters, units) for slot in block.slots]
        most = [max(labels[k : k + _ABREAST]) for k in range(0, len(labels), _ABREAST)]
        return _TITLE + sum(_BOXES + _BOX_LINE * (count - 1) for count in most)
    return 0.0


def _names_width(rows: Sequence[tuple[Cell, ...]], units: Units) -> float:
    """Return the width of the longest file and cutter, which stand on one line each."""
    return _NAME * sum(
        max((len(units.text(str(row[k]))) for row in rows), default=0) for k in (1, 2)
    )


def _lines(text: str, letters: float, units: Units) -> int:
    """Return on how many lines a text stands, which is broken between words."""
    return max(1, len(wrap(units.text(text), max(1, int(letters)))))
