"""How far beyond the outline the deck is finished. Board frame, which is that of C; mm.

Skin and bag need level ground only as far as they reach (`deck.beyond`). The waste outside is
roughed with the rest, and no finishing line goes there. (Waste left as the skim leaves it was
tried: the edge that is then cut round it, layer by layer, takes as long as its roughing saves, and
longer where the deck is finished beside it.)
"""

from __future__ import annotations

import shapely
from shapely import Polygon

from corepath.board.features import Board
from corepath.board.footprints import offset
from corepath.job.model import Job

__all__ = ["finished_area", "finished_within"]

_SPECK = 100.0  # mm²: less waste than this is nothing


def finished_area(job: Job, board: Board) -> Polygon | None:
    """The area that is finished: the outline and `deck.beyond` round it, as far as there is a
    blank; None where that is the whole blank, or the job does not say."""
    return None if job.deck.beyond is None else finished_within(board, job.deck.beyond)


def finished_within(board: Board, by: float) -> Polygon | None:
    """The outline and `by` mm round it, as far as there is a blank; None where that is all of
    it."""
    grown = offset(board.outline, by).intersection(board.blank)
    area = max(shapely.get_parts(grown), key=lambda part: float(part.area))
    return None if board.blank.difference(area).area < _SPECK else Polygon(area.exterior)
