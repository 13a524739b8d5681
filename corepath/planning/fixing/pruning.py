"""Takes out of a fix what it does not need, and says of the rest which checks need it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from corepath.lengths import mm
from corepath.planning.fixing.held import Held, cautions, failed
from corepath.planning.fixing.levers import LeverKind
from corepath.planning.fixing.trials import Trials
from corepath.planning.prepare import Prepared
from corepath.stackup.skim import TIE

__all__ = ["pruned"]


def pruned(held: Held, trials: Trials, kind_of: Callable[[Iterable[str]], LeverKind]) -> Held:
    """Returns what holds without the values that it does not need, each needed one with the
    checks that need it."""
    for keys in _groups(held.values):
        fewer = {key: value for key, value in held.values.items() if key not in keys}
        if not (fewer or held.measured):
            continue
        made = trials.of(fewer, held.measured)
        if made is not None and _as_good(made, held.made):
            held = replace(held, values=fewer, made=made, kind=kind_of(fewer))
        elif made is not None:
            lost = dict.fromkeys(keys, _lost(made, held.made))
            held = replace(held, needed_by={**held.needed_by, **lost})
    return _measured_if_needed(held, trials) if held.measured else held


def _measured_if_needed(held: Held, trials: Trials) -> Held:
    made = trials.of(held.values)
    if made is None:
        return held
    if held.values and _as_good(made, held.made):
        return replace(held, made=made, measured=False)
    return replace(held, gains=_gain(made, held.made))


def _groups(values: Iterable[str]) -> list[tuple[str, ...]]:
    """Returns the keys that can be left out, each for itself; those of another core together."""
    core = tuple(key for key in values if key.startswith(("board.thickness", "deck.stations")))
    groups = [core] if core else []
    return [*groups, *((key,) for key in values if key not in core)]


def _as_good(made: Prepared, other: Prepared) -> bool:
    return not failed(made) and set(cautions(made)) <= set(cautions(other))


def _lost(made: Prepared, better: Prepared) -> tuple[str, ...]:
    """Returns the ids of what fails in `made`, or else of what only `better` holds for sure."""
    fails = dict.fromkeys(check.id for check in made.checks if check.verdict == "fail")
    return tuple(fails) or tuple(one for one in cautions(made) if one not in cautions(better))


_OF_BLANK = ("window", "shows", "clean-up", "floor", "fill")
"""Checks that hang on thickness and gap of the blank."""


def _gain(before: Prepared, after: Prepared) -> str:
    """Returns in words how much the worst case of the check gains that gains most; "" where none
    does."""
    found = [(name, _worst(before, name), _worst(after, name)) for name in _OF_BLANK]
    name, low, high = max(found, key=lambda one: round(one[2] - one[1], 6))
    return f"{name} {mm(low):.2n} → {mm(high):.2n} at worst" if high - low > TIE else ""


def _worst(made: Prepared, name: str) -> float:
    # nothing is gained where there is no such check
    return min((check.worst for check in made.checks if check.id == name), default=0.0)
