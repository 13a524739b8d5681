"""The checks on heights: groove depth against final thickness first, then what depends on it.

What only other values of the job would mend has no words here: fixes are tried
(`corepath.planning.fixing`), and one value helps some checks and harms others.

Each function gives one check (fill: one for each casting); formulas: docs/arithmetic.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from corepath.lengths import mm
from corepath.stackup.checks.judge import AtLeast, judge, weakest
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear
from corepath.stackup.skim import TIE
from corepath.stackup.stacks import CastingStack, PlaceStack
from corepath.stackup.stackup import Stackup

__all__ = [
    "clean_up_at",
    "depth_checks",
    "fill_at",
    "fill_room",
    "fill_short",
    "flush_clean_up",
    "hold_at",
    "holds_at",
    "inserts_at",
    "over_barrel",
    "seen_at",
    "shows_at",
    "wood_over_seat",
]

PRONG_WOOD = 1.0
"""mm of wood that must stand over the tips of prongs (common practice, no source)."""


def depth_checks(stack: Stackup) -> tuple[Check, ...]:
    """Return all checks on heights, window first."""
    skim = stack.skim
    checks = [_window(stack), _floor(stack), _shows(stack), _clean_up(stack)]
    checks += [fill_at(stack, casting, skim.judged_plane) for casting in stack.castings]
    checks += inserts_at(stack, skim.planned_plane)
    checks += _opens(stack)
    checks.append(hold_at(stack, skim.judged_plane))
    return tuple(checks)


def _at(x: float, y: float) -> str:
    return f"X{mm(x):.1f} Y{mm(y):.1f}"


DECK = ", deck"
"""Added to the names of errors at the place where the deck is highest: its bed and its gaps are
other errors than those at a casting."""


def _window(stack: Stackup) -> Check:
    """Return the weakest window: from the plane at which a casting shows down to the lowest plane
    that leaves the clean-up."""
    # Both are heights of one cut in B, whose own errors (touch, machine) cancel. But it runs over
    # two places, a casting and the highest deck, and each has a bed and a gap of its own.
    job, heights = stack.job, stack.heights
    at = stack.weakest_deck_at
    deck = (
        heights.deck(stack.weakest_deck, stack.skim.planned_plane)
        + job.deck.clean_up
        + heights.bed("B", DECK)
        + heights.gap("B", at, DECK)
        - heights.gap("C", at, DECK)
    )

    def judged(casting: CastingStack) -> Check:
        shows = casting.shows_at(heights, casting.shallowest_at) + heights.bed("B")
        stopped = heights.plane(stack.skim.planned_plane) + heights.bed("B")
        # Once the casting was seen to show at the recorded stop, the window reaches down from that
        # plane at least, however pessimistic the depth is.
        if (
            seen_at(stack, casting, stack.skim.planned_plane)
            and stopped.worst()[0] > shows.worst()[0]
        ):
            shows = stopped
        value = shows - deck
        return AtLeast(value, job.limits.window).check(
            "window",
            message=f"{casting.casting.id} shows from {mm(shows.nominal):.2f} down, the core needs "
            f"{mm(deck.nominal):.2f}",
            where=f"{casting.casting.id} at {_at(*casting.shallowest_at)}; deck highest at "
            f"{_at(*at)}",
        )

    return weakest(judged(casting) for casting in stack.castings)


def _floor(stack: Stackup) -> Check:
    limit = stack.job.groove.least_floor

    def judged(casting: CastingStack) -> Check:
        at = casting.widest_gap_at
        value = stack.heights.wood_under(casting.casting.floor, casting.operation, at)
        return AtLeast(value, limit).check(
            "floor",
            message=f"wood left under {casting.casting.id}, {mm(value.worst()[0]):.2f} where the "
            "blank lies worst",
            where=f"{casting.casting.id} at {_at(*at)}",
            fix="tape or seal below the places that run thin",
        )

    return weakest(judged(casting) for casting in stack.castings)


def _shows(stack: Stackup) -> Check:
    return weakest(shows_at(stack, casting, stack.skim.planned_plane) for casting in stack.castings)


def seen_at(stack: Stackup, casting: CastingStack, plane: float) -> bool:
    """Return whether the record says that a casting showed by `plane` (mm above the bed in B), and
    its depth does not make that impossible."""
    skim = stack.skim
    if not skim.recorded or plane > skim.planned_plane + TIE:
        return False
    room = casting.shows_at(stack.heights, casting.shallowest_at) - stack.heights.plane(
        skim.planned_plane
    )
    return room.worst()[1] >= -TIE


def shows_at(stack: Stackup, casting: CastingStack, plane: float) -> Check:
    """Check whether a casting shows all over once the skim has reached `plane` (mm above the bed in
    B), judged at its shallowest place.

    At a recorded stop it was seen to show, which no error can contradict any more.
    """
    skim = stack.skim
    value = casting.shows_at(stack.heights, casting.shallowest_at) - stack.heights.plane(plane)
    name, fix = casting.casting.id, ""
    verb = "shows" if value.nominal >= -TIE else "does not show"
    says = f"{name} {verb} at the pass at {mm(plane):.2f}"
    if skim.recorded:
        says += ", the recorded stop" if abs(plane - skim.planned_plane) < TIE else ""
        fix = (
            "measure how thick it is after the skim, and correct the stop or the depth, "
            "whichever is wrong"
        )
    check = AtLeast(value, 0.0).check(
        "shows",
        message=says,
        where=f"{name} at {_at(*casting.shallowest_at)}, pass at {mm(plane):.2f}",
        fix=fix,
    )
    return _seen(check, skim.planned_plane - plane) if seen_at(stack, casting, plane) else check


def _seen(check: Check, left: float) -> Check:
    """Return the check of a casting that was seen to show `left` mm above the plane asked about: no
    figure of the check is less than that."""
    value, rss, worst = (max(figure, left) for figure in (check.value, check.rss, check.worst))
    kept = check.largest if worst > left else ()
    return replace(check, verdict="ok", value=value, rss=rss, worst=worst, fix="", largest=kept)


def _clean_up(stack: Stackup) -> Check:
    """Return the clean-up at the planned or recorded stop, or over the band of a local flush if
    that is worse."""
    skim = stack.skim
    planned = clean_up_at(stack, skim.planned_plane)
    if skim.recorded:
        return planned
    bands = [
        _band_cleaned(stack, casting) for casting in stack.castings if casting.flush is not None
    ]
    return weakest([planned, *(band for band in bands if band.verdict != "ok")])


def _band_cleaned(stack: Stackup, casting: CastingStack) -> Check:
    """Check that the band of a local flush, which lies lower by its dip, leaves the deck pass
    something to remove."""
    value = flush_clean_up(stack, casting, stack.skim.planned_plane)
    return judge(
        "clean-up",
        value,
        0.0,
        message=f"over the flush round {casting.casting.id} the deck pass removes at least "
        f"{mm(value.nominal):.2f}",
        where=f"flush round {casting.casting.id}",
        fix=f"pour {mm(-value.worst()[0]):.2f} less proud, or move it to where the deck is lower",
    )


def flush_clean_up(stack: Stackup, casting: CastingStack, plane: float) -> Linear:
    """Return the wood that the deck pass removes over the band of a local flush, after a stop at
    `plane`. Raises ValueError for a casting without a flush."""
    if casting.flush is None:
        raise ValueError(f"{casting.casting.id} has no flush")
    at = casting.highest_at
    wood = stack.heights.clean_up(casting.deck_highest, plane, at)
    return casting.flush.clean_up(wood, stack.heights.came_top(at))


def clean_up_at(stack: Stackup, plane: float) -> Check:
    """Check the clean-up after a stop at `plane` (mm above the bed in B), by one rule for all
    passes.

    ok if the worst case leaves deck.clean_up, caution if RSS leaves anything, else fail.
    """
    # A job that asks for no clean-up may keep its raw top (the blank was milled flat): that is a
    # caution at most, hence the bound of minus infinity.
    wanted = stack.job.deck.clean_up
    value = stack.heights.clean_up(stack.weakest_deck, plane, stack.weakest_deck_at)
    words = _stop_words(stack, plane)
    return AtLeast(value, wanted, caution_over=0.0 if wanted > 0.0 else -math.inf).check(
        "clean-up",
        message=f"the deck pass removes at least {mm(value.nominal):.2f} at "
        f"{words}{_raw_top(stack, value.worst()[0])}",
        where=f"deck highest at {_at(*stack.weakest_deck_at)}, {words}",
        fix="" if wanted > 0.0 else "plane the raw top flat, which may stay",
    )


def _stop_words(stack: Stackup, plane: float) -> str:
    if abs(plane - stack.skim.planned_plane) > TIE:
        return f"a stop at {mm(plane):.2f}"
    return f"the {'recorded' if stack.skim.recorded else 'planned'} stop {mm(plane):.2f}"


def _raw_top(stack: Stackup, least: float) -> str:
    """Return in words where raw top may stay; `least` is what the worst case removes where the deck
    is highest, mm."""
    if least > -TIE:
        return ""
    return (
        "; in the worst case raw top stays where the deck is more than "
        f"{mm(stack.weakest_deck + least):.2f} high"
    )


def fill_at(stack: Stackup, casting: CastingStack, plane: float) -> Check:
    """Check whether the resin of a casting stands high enough if the skim stops at `plane` (mm
    above the bed in B)."""
    room = fill_room(stack, casting, plane)
    value = room - casting.pour.p_expected
    name, short = casting.casting.id, fill_short(stack, casting, plane)
    words = "the recorded stop" if stack.skim.recorded else "the lowest pass"
    if abs(plane - stack.skim.judged_plane) > TIE:
        words = f"a stop at {mm(plane):.2f}"
    return judge(
        "fill",
        value,
        0.0,
        message=f"resin in {name} lies {mm(casting.pour.p_expected.nominal):.2f} below the raw top "
        f"at its lowest, {mm(room.nominal):.2f} is allowed at {words}",
        where=f"{name}; deck over it highest, {mm(casting.deck_highest):.2f}, at "
        f"{_at(*casting.highest_at)}",
        fix=f"pour {mm(short):.2f} higher, or move it to where the deck is {mm(short):.2f} lower, "
        "or level better, or lower cast.fill_margin",
    )


def fill_short(stack: Stackup, casting: CastingStack, plane: float) -> float:
    """Return how much too low a casting is in the worst case for a stop at `plane`, mm (negative:
    margin)."""
    # Filling just enough for the lowest offered pass would bring back the next lower one, whose
    # fill would then fail. So count down to the lowest plane that would be offered again: all left
    # out whose clean-up does not fail.
    skim = stack.skim
    lacks = -(fill_room(stack, casting, plane) - casting.pour.p_expected).worst()[0]
    if lacks <= TIE or abs(plane - skim.judged_plane) > TIE:
        return lacks
    kept = [other for other in skim.not_offered if clean_up_at(stack, other).verdict != "fail"]
    return lacks + plane - min([plane, *kept])


def fill_room(stack: Stackup, casting: CastingStack, plane: float) -> Linear:
    """Return how low the resin of a casting may lie below the raw top after a stop at `plane`:
    s - gB + gC - h - fill_margin."""
    # resin that lies lower than the deck pass cuts leaves a void
    cut = stack.heights.clean_up(casting.deck_highest, plane, casting.highest_at)
    return cut - stack.job.cast.fill_margin


def inserts_at(
    stack: Stackup, plane: float, places: Sequence[PlaceStack] | None = None
) -> tuple[Check, ...]:
    """Return the weakest seat, wood over a seat and barrel if the skim stops at `plane`, of these
    places (of all where None); empty without inserts."""
    places = stack.places if places is None else places
    if not places:
        return ()
    # only the weakest gets its words: of hundreds they take longer than the relations
    relations = ((_of_seat, _seat), (_of_wood, _wood_over_seat), (_of_barrel, _barrel))
    return tuple(
        told(min(places, key=lambda place: asked(stack, place, plane).rank), stack, plane)
        for asked, told in relations
    )


def _of_seat(stack: Stackup, place: PlaceStack, _plane: float) -> AtLeast:
    seat = stack.heights.seat(place.seat_depth, place.place.id)
    return AtLeast(seat - place.place.insert.flange_thickness, stack.job.limits.seat)


def _seat(place: PlaceStack, stack: Stackup, plane: float) -> Check:
    asked = _of_seat(stack, place, plane)
    seat = stack.heights.seat(place.seat_depth, place.place.id)
    return asked.check(
        "seat",
        message=f"the flange of {place.place.id} lies {mm(asked.value.nominal):.2f} below the "
        f"skimmed face in a seat {mm(seat.nominal):.2f} deep",
        where=place.place.id,
    )


def _of_wood(stack: Stackup, place: PlaceStack, plane: float) -> AtLeast:
    prongs = place.place.insert.prongs
    limit = max(stack.job.limits.wood_over_seat, prongs + PRONG_WOOD if prongs else 0.0)
    return AtLeast(wood_over_seat(stack, place, plane), limit)


def _wood_over_seat(place: PlaceStack, stack: Stackup, plane: float) -> Check:
    prongs = place.place.insert.prongs
    return _of_wood(stack, place, plane).check(
        "wood-over-seat",
        message=f"wood over the seat of {place.place.id}"
        + (f", its prongs reach {mm(prongs):.2f}" if prongs else ""),
        where=place.place.id,
        fix="a thinner flange, or a place where the deck is higher",
    )


def wood_over_seat(stack: Stackup, place: PlaceStack, plane: float) -> Linear:
    """Return the finished wood over the seat of an insert after a stop at `plane`."""
    seat = stack.heights.seat(place.seat_depth, place.place.id)
    return stack.heights.finished(place.deck_over_seat, plane, place.at) - seat


def over_barrel(stack: Stackup, place: PlaceStack, plane: float) -> Linear:
    """Return how far the barrel of an insert ends below the deck after a stop at `plane`."""
    insert = place.place.insert
    # The flange lies in its seat: a seat cut deeper than planned lowers the end of the barrel too.
    seat = stack.heights.seat(place.seat_depth, place.place.id)
    reach = seat - insert.flange_thickness + insert.length
    return stack.heights.finished(place.deck_over_bore, plane, place.at) - reach


def _of_barrel(stack: Stackup, place: PlaceStack, plane: float) -> AtLeast:
    return AtLeast(over_barrel(stack, place, plane), stack.job.limits.barrel)


def _barrel(place: PlaceStack, stack: Stackup, plane: float) -> Check:
    asked = _of_barrel(stack, place, plane)
    value = asked.value
    return asked.check(
        "barrel",
        message=f"the barrel of {place.place.id} ends {mm(value.nominal):.2f} below the deck",
        where=place.place.id,
        fix=f"hardware shorter by {mm(stack.job.limits.barrel - value.worst()[0]):.2f}, or a "
        "place where the deck is higher",
    )


def _opens(stack: Stackup) -> tuple[Check, ...]:
    """Check whether the deck pass opens every blind bore: the weakest of them; empty without
    one."""
    heights, plane = stack.heights, stack.skim.planned_plane

    def asked(place: PlaceStack) -> AtLeast:
        bore = heights.bore(place.bore_depth, place.place.id)
        deck = heights.finished(place.highest_over_bore, plane, place.at)
        return AtLeast(bore - deck, 0.0)

    blind = [place for place in stack.places if not place.place.insert.through]
    if not blind:
        return ()
    # the fix is worked out for the weakest alone: it looks at all castings
    least = min(blind, key=lambda place: asked(place).rank)
    name, room = least.place.id, asked(least)
    found = room.check("opens", message=_opened(name, room.value.nominal), where=name)
    if found.verdict == "ok":
        return (found,)
    return (replace(found, fix=_bored(stack, found.where, -found.worst)),)


def _opened(name: str, past: float) -> str:
    if past >= -TIE:
        return f"the bore of {name} ends {mm(past):.2f} past the deck, whose pass opens it"
    return f"the bore of {name} ends {mm(-past):.2f} short of the deck, whose pass does not open it"


def _bored(stack: Stackup, name: str, short: float) -> str:
    """Return in words what makes a blind bore `short` mm deeper against the deck."""
    # What was measured is cut: a change of the job moves it no more, a drill does.
    if name in stack.heights.settled.bore_depth:
        return f"bore it {mm(short):.2f} deeper before the deck is cut, and record its depth again"
    return "bore it through (insert.through = true)"


def hold_at(stack: Stackup, plane: float) -> Check:
    """Check the height of the casting that joins board and rim: the lower of B after a stop at
    `plane` (mm above the bed) and C after the deck."""
    return weakest(holds_at(stack, plane))


def holds_at(stack: Stackup, plane: float) -> tuple[Check, Check]:
    """Return the checks of `hold_at` in B and in C, each by itself."""
    # the groove is always the first casting
    groove = stack.castings[0]
    at = groove.lowest_at
    in_b = stack.heights.skimmed(plane, at) - groove.pour.p_expected
    in_c = stack.heights.finished(groove.deck_lowest, plane, at)

    least = stack.job.hold.least_height

    def judged(value: Linear, setup: str, what: str) -> Check:
        return judge(
            "hold",
            value,
            least,
            message=f"in {setup} the casting that joins board and rim is "
            f"{mm(value.nominal):.2f} high",
            where=f"groove in {setup}, held by {getattr(stack.job.hold, setup)}",
            fix=f"{what} {mm(least - value.worst()[0]):.2f} more, or, where board and rim are "
            "held each on its own, a lower hold.least_height",
        )

    return judged(in_b, "B", "fill the groove"), judged(in_c, "C", "board.edge_thickness")
