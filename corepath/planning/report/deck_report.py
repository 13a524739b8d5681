"""The report on the deck: where it comes from, its extremes, how it was rounded, its patches."""

from __future__ import annotations

from typing import Any

from corepath.board.deck.patches import Patch, patches_of
from corepath.board.footprints import disc
from corepath.planning.prepare import Prepared

__all__ = ["deck_report"]


def deck_report(prepared: Prepared) -> dict[str, Any]:
    """Return source, file and its digest, extremes, station errors, rounding and patches; mm."""
    deck, source, stack = prepared.job.deck, prepared.board.deck.source, prepared.stackup
    found: dict[str, Any] = {
        "source": "mesh"
        if deck.mesh is not None
        else "grid"
        if deck.grid is not None
        else "stations",
        "highest": round(stack.deck_highest, 4),
        "lowest": round(stack.deck_lowest, 4),
        "station_errors": [
            {"x": station[0], "thickness": station[1], "passes_by": round(float(error), 4)}
            for station, error in zip(deck.stations or (), source.station_errors, strict=False)
        ],
        "rounded_by": {
            "most": round(source.rounded_by.most, 4),
            "at": [round(source.rounded_by.x, 4), round(source.rounded_by.y, 4)],
        },
        "patches": [_patch(prepared, patch) for patch in patches_of(prepared.job)],
    }
    if source.sha256 is not None:
        found |= {"file": deck.mesh or deck.grid, "sha256": source.sha256}
    return found


def _patch(prepared: Prepared, patch: Patch) -> dict[str, Any]:
    """Return a patch: area and heights, the inserts whose seats lie wholly in its level part, and
    those on its blend."""
    # A seat that just touches the edge of the level part counts as inside: both are polygons that
    # keep within 0.001 mm of their curves, hence 0.002.
    level, surface = patch.level, prepared.board.deck
    seats = {place.id: disc(place.x, place.y, place.seat) for place in prepared.board.places}
    return {
        "id": patch.id,
        "area": round(patch.area.area, 2),
        "highest": round(surface.highest_over(patch.area)[0], 4),
        "lowest": round(surface.lowest_over(patch.area)[0], 4),
        "inserts": [name for name, seat in seats.items() if level.buffer(0.002).covers(seat)],
        "inserts_on_blend": [
            name
            for name, seat in seats.items()
            if patch.area.intersects(seat) and not level.buffer(0.002).covers(seat)
        ],
    }
