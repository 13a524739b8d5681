"""How far beyond the outline the deck is finished, and the waste that is left standing outside it.

Board frame, which is that of C; mm. Skin and bag need level ground only as far as they reach
(`deck.beyond`). What lies farther out is roughed with the rest (`deck.rest = "rough"`), or left as
the skim leaves it (`"leave"`): then pieces of the blank stand there as high as the stock, and
every cutter of C keeps off them as off an obstacle. Strips too narrow to stand, and pieces that
take longer to go round than to rough, are roughed.
"""

from __future__ import annotations

import shapely
from shapely import Polygon

from corepath.board.features import Board
from corepath.board.footprints import offset
from corepath.job.model import Job
from corepath.work.keepoff import CLEARANCE
from corepath.work.works import Obstacle

__all__ = ["WASTE", "finished_area", "finished_within", "left_standing"]

WASTE = "the waste left standing"
"""Name of what is left, as an obstacle."""

_NARROW = 15.0
"""mm; half the least width of waste that is left: a wall as thin as this beside cuts of its full
height chatters and breaks (common practice, no source)."""

_WORTH = 40.0
"""mm: waste is left where its area is at least this times the length of its inner edge. Along that
the cutter goes once a layer, which takes as long as lines over a strip two of its steps wide."""

_CORNER = 0.42  # a little more than sqrt(2) - 1
_SPECK = 100.0  # mm²: smaller pieces are not worth going round
_BESIDE = 2.0
"""mm by which waste keeps off what is finished, besides the clearance of an obstacle: what a cutter
reaches beside it is known on nodes 1 mm apart (`corepath.work.keepoff`)."""
_SEGMENTS = 16


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


def left_standing(job: Job, board: Board, top: float, corner: float) -> tuple[Obstacle, ...]:
    """The waste that stays at the height of the stock (`top`, mm above the bed), as obstacles.

    `corner` (mm) is the corner radius of the cutter that finishes the deck, which stands so far
    beyond what it brings to the surface.
    """
    finished = finished_area(job, board)
    if finished is None or job.deck.rest != "leave":
        return ()
    free = finished.buffer(corner + CLEARANCE + _BESIDE, quad_segs=_SEGMENTS)
    waste = board.blank.difference(free)
    # Opened by a disc, which takes narrow strips away and rounds corners; square ones come back by
    # sqrt(2) - 1 of its radius.
    wide = waste.buffer(-_NARROW, quad_segs=_SEGMENTS).buffer(_NARROW, quad_segs=_SEGMENTS)
    back = wide.buffer(_CORNER * _NARROW, quad_segs=_SEGMENTS).intersection(waste)
    inner = board.blank.buffer(-1e-6, join_style="mitre")
    pieces = [piece for piece in shapely.get_parts(back) if isinstance(piece, Polygon)]
    return tuple(
        Obstacle(piece, top, WASTE)
        for piece in sorted(pieces, key=lambda piece: tuple(round(v, 3) for v in piece.bounds))
        if piece.area >= _WORTH * piece.exterior.intersection(inner).length
    )
