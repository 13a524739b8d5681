"""What contradicts `deck.beyond`, how far beyond the outline the deck is finished. Lengths in
mm."""

from __future__ import annotations

from collections.abc import Iterator

from corepath.job.model import DeckSection, GrooveSection, SkinSection
from corepath.job.text.positions import Path

__all__ = ["waste_contradictions"]


def waste_contradictions(
    deck: DeckSection, groove: GrooveSection | None, skin: SkinSection | None
) -> Iterator[tuple[Path, str, str]]:
    """Yield (path, what is wrong, what is allowed) for each contradiction."""
    if deck.beyond is None:
        return
    if groove and deck.beyond < groove.outside:
        says = "ends within the groove: its casting is part of the core"
        yield ("deck", "beyond"), says, f"at least groove.outside, {groove.outside:g} mm"
    if deck.margin > 0.0:
        yield ("deck", "beyond"), "goes with no frame", "deck.beyond or deck.margin"
    if skin and skin.covers == "blank":
        says = "the skin lies on the whole blank, which must be finished for it"
        yield ("deck", "beyond"), says, 'beyond left out; or skin.covers = "board"'
