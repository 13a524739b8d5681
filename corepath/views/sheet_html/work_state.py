"""How far the work has come, according to the record."""

from __future__ import annotations

from corepath.views.sheet_html.facts import Facts
from corepath.views.sheet_html.page_parts import State

__all__ = ["pour_state"]


def pour_state(facts: Facts) -> State:
    """Return the state of the pour.

    It is done once the fill of every casting is recorded, none is too low, and none was topped up
    without being measured again.
    """
    settled = facts.settled
    # Skimming was begun: then the pour is over, even if nobody recorded the fills.
    if settled.skimmed:
        return "done"
    filled = all(casting.casting.id in settled.fill for casting in facts.stackup.castings)
    low = any(fill.verdict != "ok" for fill in facts.lists.fills)
    if filled and not low and not settled.topped_up:
        return "done"
    return "now" if "groove" in facts.done else "ahead"
