"""Words on how the blank is held in a set-up, and on dowels and obstacles."""

from __future__ import annotations

from dataclasses import replace

from corepath.layup.laid import laid_up
from corepath.lengths import with_minus
from corepath.motion.program import Setup
from corepath.views.drawings.laid_marks import hold_down_words
from corepath.views.sheet_html.facts import Facts, mm, place, size
from corepath.work.holding import screws_of, standing
from corepath.work.works import Obstacle

__all__ = ["dowel_rows", "fixings", "hold_words"]

_HOLD = {
    "tape": "double-sided tape under both, each pressed down all over",
    "vacuum": "vacuum under both, each with a zone of its own; know what happens if it fails",
    "clamps": "clamps on the rim, and the island held on its own as well",
    "screws": "screws in both, each ending in the spoil board",
}


def hold_words(facts: Facts, setup: Setup) -> str:
    """Return what holds island and rim, each by itself."""
    if setup == "D":
        held = "the board in its cradle, as the job says; the rim falls free when the web is cut "
        words = hold_down_words(facts.works_of("D"))
        return f"{held}by hand{'; ' + words if words else ''}"
    method: str = getattr(facts.job.hold, setup)
    joins = {
        "A": "after the groove only the thin floor joins them",
        "B": "only the casting joins them below the skim",
        "C": "only the casting joins them",
    }
    return f"{method}: {_HOLD[method]}; {joins[setup]}"


def dowel_rows(facts: Facts, setup: Setup) -> tuple[tuple[str, str], ...]:
    """Return (name, words) with the greatest length that each dowel may have in this set-up."""
    mine = [one for one in facts.lists.dowel_lengths if one.setup == setup]
    if not mine:
        return ()
    places: dict[str, list[str]] = {}
    for one in mine:
        section = facts.board.dowels[one.dowel - 1]
        parts = f"{mm(section.depth_in_bed, 1)} in the bed, {mm(one.stand, 1)} above"
        words = (
            f"diameter {size(section.diameter)}, length up to {mm(one.length, 1)}: {parts}; wood "
            "or plastic"
        )
        words += "" if one.fits else "; the job's own is too long here"
        where = place(*facts.scene(setup).at(*section.at))
        places.setdefault(words, []).append(f"{one.dowel} at {where}")
    return tuple(("dowels", f"{' and '.join(where)}: {words}") for words, where in places.items())


def _standing(facts: Facts, setup: Setup) -> tuple[Obstacle, ...]:
    """Return the obstacles of a set-up with heights above the bed.

    In D the works count heights from rise 0 of the form, and the bed lies below the cradle.
    """
    if setup != "D":
        return standing(facts.job, facts.stackup, setup)
    bed = laid_up(facts.job, facts.board).bed
    return tuple(
        replace(one, height=one.height - bed) for one in facts.works_of(setup)[0].obstacles
    )


def fixings(facts: Facts, setup: Setup) -> tuple[tuple[str, str], ...]:
    """Return (name, words) of obstacles and screws, with their places and heights."""
    found = []
    screws = {screw.name for screw in screws_of(facts.job, setup)}
    for one in _standing(facts, setup):
        x0, y0, x1, y1 = one.area.bounds
        if one.name in screws:
            words = (
                f"at X{mm((x0 + x1) / 2, 0)} Y{mm((y0 + y1) / 2, 0)}, head up to "
                f"{mm(one.height, 1)} above the bed"
            )
        else:
            words = (
                f"X{mm(x0, 0)} to {mm(x1, 0)}, Y{mm(y0, 0)} to {mm(y1, 0)}, "
                f"{mm(one.height, 1)} high"
            )
        found.append(
            (
                one.name,
                with_minus(words) + ("; what is left uncut is sawn off" if one.sawn_off else ""),
            )
        )
    return tuple(found)
