"""What shows of the casting in the deck: from the read-back where the deck was cut in it, otherwise
as the stack-up expects it."""

from __future__ import annotations

from corepath.planning.prepare import Prepared
from corepath.readback.result import ReadBack
from corepath.stackup.casting_on_deck import Columns, DeckCasting, expected_columns, shown_casting

__all__ = ["deck_casting"]


def deck_casting(prepared: Prepared, readback: ReadBack | None) -> DeckCasting:
    """Return what of the casting shows once the deck is cut, and where it was not filled that
    high."""
    left = readback.remaining.get("C") if readback is not None else None
    if left is None:
        columns = expected_columns(prepared.stackup, prepared.board)
    else:
        columns = Columns(left.grid.xs, left.grid.ys, left.wood[1], left.casting[1], "read-back")
    return shown_casting(prepared.board, columns, prepared.job.groove.inside)
