"""How much of a page its blocks take, so that a set-up stays on one side of A4 or Letter.

Lengths on paper, mm. The browser lays the text out; here it is estimated on the safe side, and
tests print the pages of the samples in several faces (`tests/views/test_short_in_browser.py`).
"""

from __future__ import annotations

from collections.abc import Sequence

from corepath.lengths import Units
from corepath.views.sheet_html.page_parts import Block, Rows, Table
from corepath.views.sheet_html.setup_drawing import SetupRoom
from corepath.views.short_sheet.boxes import BoxGroup

__all__ = ["LEAST_PAPER", "PAPER_ROOMS", "blocks_height"]

PAPER_ROOMS = tuple(
    SetupRoom(tallest=tallest, style=f"short-{tallest:.0f}", legend=False)
    for tallest in (62.0, 46.0, 28.0)
)
"""The rooms for a drawing, the largest first: the first that leaves space for all else is taken."""

LEAST_PAPER = 238.0
"""Height of Letter, the lower of the two papers, within its margins, less a share for wider faces
and less the page's head."""

_ROW, _CELLS, _BOXES, _TITLE = 3.9, 5.2, 5.4, 5.0
_LINE = 3.3
_ABREAST = 6
# letters on a line of a list, of the last column of a table, of a note
_LIST, _LAST, _NOTE = 115, 48, 130


def blocks_height(blocks: Sequence[Block | BoxGroup], units: Units) -> float:
    """Return the height that lists, tables and boxes take, in mm; drawings count 0."""
    return sum(_height(block, units) for block in blocks)


def _height(block: Block | BoxGroup, units: Units) -> float:
    if isinstance(block, Rows):
        lines = [
            max(_lines(value, _LIST, units), _lines(name, 18, units)) for name, value in block.rows
        ]
        return _TITLE + sum(_ROW + _LINE * (count - 1) for count in lines)
    if isinstance(block, Table):
        last = [_lines(str(row[-1]), _LAST, units) for row in block.rows]
        rows = sum(_CELLS + _LINE * (count - 1) for count in last)
        return _TITLE + _CELLS + rows + _LINE * _lines(block.note, _NOTE, units)
    if isinstance(block, BoxGroup):
        return _TITLE + _BOXES * -(-len(block.slots) // _ABREAST)
    return 0.0


def _lines(text: str, letters: int, units: Units) -> int:
    """Return on how many lines a text stands."""
    return max(1, -(-len(units.text(text)) // letters))
