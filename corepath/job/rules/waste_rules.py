"""What contradicts `deck.beyond` and `deck.rest`: how far the deck is finished, and what becomes of
the waste outside. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator

from corepath.job.model import DeckSection, GrooveSection, LayupSection, SkinSection
from corepath.job.text.positions import Path

__all__ = ["waste_contradictions"]


def waste_contradictions(
    deck: DeckSection,
    groove: GrooveSection | None,
    skin: SkinSection | None,
    layup: LayupSection | None,
) -> Iterator[tuple[Path, str, str]]:
    """Yield (path, what is wrong, what is allowed) for each contradiction."""
    if deck.beyond is None:
        if deck.rest != "rough":
            says = "says what becomes of the waste beyond deck.beyond, which is not given"
            yield ("deck", "rest"), says, "rest beside deck.beyond"
        return
    if groove and deck.beyond < groove.outside:
        says = "ends within the groove: its casting is part of the core"
        yield ("deck", "beyond"), says, f"at least groove.outside, {groove.outside:g} mm"
    if deck.margin > 0.0:
        says = "goes with no frame"
        allowed = 'deck.margin without deck.beyond; or rest = "leave", which leaves waste to clamp'
        yield ("deck", "beyond"), says, allowed
    if skin and skin.covers == "blank":
        says = "the skin lies on the whole blank, which must be finished for it"
        yield ("deck", "beyond"), says, 'beyond left out; or skin.covers = "board"'
    if deck.rest == "leave" and layup and layup.cradle:
        says = "waste as high as the raw blank would stand beside the trim in D"
        yield ("deck", "rest"), says, '"rough" with layup.cradle'
