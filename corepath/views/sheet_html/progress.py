"""How far the work is, by the record."""

from __future__ import annotations

from corepath.views.sheet_html.facts import Facts
from corepath.views.sheet_html.parts import State

__all__ = ["pour_state"]


def pour_state(facts: Facts) -> State:
    """Done once the fill of every casting is recorded."""
    if all(casting.casting.id in facts.settled.fill for casting in facts.stackup.castings) or facts.settled.skimmed:
        return "done"
    return "now" if "groove" in facts.done else "ahead"
