"""The report on the deck: where it comes from, its extremes, how it was rounded, its patches."""

from __future__ import annotations

from typing import Any, NamedTuple

from corepath.board.deck.patches import Patch, patches_of
from corepath.planning.prepare import Prepared
from corepath.reported import Key, report_keys, reported
from corepath.work.least_time.waste_minutes import waste_minutes

__all__ = ["deck_report"]


def deck_report(prepared: Prepared) -> dict[str, Any]:
    """Return source, file and its digest, extremes, station errors, rounding and patches; mm."""
    deck, source, stack = prepared.job.deck, prepared.board.deck.source, prepared.stackup
    errors = map(float, source.station_errors)
    found: dict[str, Any] = {
        "source": next((name for name in ("mesh", "grid") if getattr(deck, name)), "stations"),
        "highest": stack.deck_highest,
        "lowest": stack.deck_lowest,
        "station_errors": [
            _StationError(*station[:2], error)
            for station, error in zip(deck.stations or (), errors, strict=False)
        ],
        "rounded_by": source.rounded_by,
        "patches": [_patch(prepared, patch) for patch in patches_of(prepared.job)],
    }
    waste = waste_minutes(prepared.job, prepared.board, prepared.works)
    if waste is not None:
        found["waste"] = waste
    if source.sha256 is not None:
        found |= {"file": deck.mesh or deck.grid, "sha256": source.sha256}
    plain: dict[str, Any] = reported(found)
    return plain


@report_keys(Key("x", places=None), Key("thickness", places=None), "passes_by")
class _StationError(NamedTuple):
    x: float
    thickness: float
    passes_by: float


def _patch(prepared: Prepared, patch: Patch) -> dict[str, Any]:
    """Return a patch: area and heights, the inserts whose seats lie wholly in its level part, and
    those on its blend."""
    # A seat that just touches the edge of the level part counts as inside: both are polygons that
    # keep within 0.001 mm of their curves, hence 0.002.
    level, surface = patch.level, prepared.board.deck
    seats = {place.id: place.seat.area for place in prepared.board.places}
    return {
        "id": patch.id,
        "area": round(patch.area.area, 2),
        "highest": surface.highest_over(patch.area)[0],
        "lowest": surface.lowest_over(patch.area)[0],
        "inserts": [name for name, seat in seats.items() if level.buffer(0.002).covers(seat)],
        "inserts_on_blend": [
            name
            for name, seat in seats.items()
            if patch.area.intersects(seat) and not level.buffer(0.002).covers(seat)
        ],
    }
