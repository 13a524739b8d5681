"""The deck and the casting: from the read-back where the deck was cut in it, else as the stack-up
expects."""

from __future__ import annotations

from corepath.planning.prepare import Prepared
from corepath.readback.result import ReadBack
from corepath.stackup.casting_on_deck import Columns, DeckCasting, expected_columns, shown_casting

__all__ = ["deck_casting"]


def deck_casting(prepared: Prepared, readback: ReadBack | None) -> DeckCasting:
    """What of the casting shows once the deck is cut, and what was not filled up to it."""
    left = readback.remaining.get("C") if readback is not None else None
    if left is None:
        columns = expected_columns(prepared.stackup, prepared.board)
    else:
        columns = Columns(left.grid.xs, left.grid.ys, left.wood[1], left.casting[1], "read-back")
    return shown_casting(prepared.board, columns, prepared.job.groove.inside)
