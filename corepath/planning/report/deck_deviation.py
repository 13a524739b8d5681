"""How far the deck that the files leave deviates from the design: from the measures of the
read-back, for the report and its sheet."""

from __future__ import annotations

from corepath.planning.prepare import Prepared
from corepath.readback.result import ReadBack
from corepath.views.deck.deviation_sheet import Deviations, deck_deviation_sheet

__all__ = ["deck_deviation", "deviation_files"]


def deck_deviation(prepared: Prepared, readback: ReadBack | None) -> Deviations | None:
    """Return the deviations of the finished deck; None where no finished deck was read back."""
    # Roughing leaves wood on purpose (`rough` above 0): only the finishing pass counts.
    deck = next(
        (work.deck for work in prepared.works if work.deck is not None and work.deck.rough == 0.0),
        None,
    )
    if readback is None or deck is None:
        return None
    try:
        low, high, mean = (readback.of(f"deck exact {name}") for name in ("low", "high", "mean"))
    except KeyError:
        return None
    found = dict(low.extra)
    return Deviations(
        edges=found["edges"],
        counts=tuple(round(count) for count in found["counts"]),
        low=low.value,
        low_at=low.where or (0.0, 0.0),
        high=high.value,
        high_at=high.where or (0.0, 0.0),
        mean=mean.value,
        ridge=deck.scallop,
        gouge=deck.gouge,
    )


def deviation_files(prepared: Prepared, found: Deviations | None) -> dict[str, str]:
    """Return the sheet as SVG text by file name; empty where nothing was measured."""
    if found is None:
        return {}
    sheet = deck_deviation_sheet(prepared.job, prepared.board, found, digest=prepared.digest)
    return {"deck-deviation.svg": sheet}
