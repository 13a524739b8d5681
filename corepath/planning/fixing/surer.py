"""What it gains to know the blank better, and to face and touch better. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from corepath.job.measured import Measured
from corepath.lengths import units_of
from corepath.planning.fixing.levers import Kind
from corepath.planning.fixing.solving import typed_up
from corepath.planning.fixing.trials import Trials
from corepath.planning.prepare import Prepared
from corepath.stackup.advice.fix import Value
from corepath.stackup.measuring.places_to_measure import measuring_places

__all__ = ["Surer", "measured_as_assumed", "tightened"]

_TIGHT = {"flat": 0.05, "touch": 0.02, "bed": 0.03, "thickness": 0.05}
"""Tolerances that care alone reaches: feeler gauge, a touch plate, a bed faced anew, callipers
(common practice, no source)."""


_OF_BLANK = frozenset({"window", "floor", "shows", "clean-up", "fill"})
"""Checks that hang on thickness and gap of the blank."""


@dataclass(frozen=True, slots=True)
class Surer:
    """A job in which something is known better, as it is worked out."""

    values: Mapping[str, Value]
    made: Prepared
    kind: Kind
    measure: int = 0


def measured_as_assumed(trials: Trials) -> Surer | None:
    """Returns the job with its blank measured at all places that are worth it, each just as the
    job assumes it; None where the blank was measured or cut."""
    start = trials.start
    known = start.known
    if known.measured is not None or known.settled.thickness or known.settled.cut:
        return None
    if not _may_help(start):
        return None
    places = measuring_places(start.resolved, start.board)
    thick = start.stackup.heights.blank.nominal
    x, y = np.array([(place.x, place.y) for place in places]).T
    callipers = np.array([thick if "thickness" in place.what else math.nan for place in places])
    measured = Measured(x, y, callipers, np.full(len(places), thick))
    made = trials.of({}, replace(known, measured=measured))
    return None if made is None else Surer({}, made, Kind.MEASURE, len(places))


def _may_help(start: Prepared) -> bool:
    """Returns whether no check that does not hold lacks more than thickness and gap can cost."""
    blank = start.stackup.heights.blank
    most = blank.error + blank.flat
    wrong = [check for check in start.checks if check.verdict != "ok"]
    return all(check.id in _OF_BLANK and check.limit - check.worst <= most for check in wrong)


def tightened(trials: Trials, good: Callable[[Prepared], bool]) -> Surer | None:
    """Returns the job with as few tolerances as will do as tight as care can make them; None where
    not even all of them will do."""
    values = _tight(trials)
    made = trials.of(values) if values else None
    if made is None or not good(made):
        return None
    for key in tuple(values):
        fewer = {other: value for other, value in values.items() if other != key}
        less = trials.of(fewer) if fewer else None
        if less is not None and good(less):
            values, made = fewer, less
    return Surer(values, made, Kind.TOUCH)


def _tight(trials: Trials) -> dict[str, Value]:
    """Returns the tolerances that can be made tighter, what is dearest to reach first."""
    job, known = trials.start.job, trials.start.known
    values: dict[str, Value] = {}
    for name, tight in reversed(_TIGHT.items()):
        own = name == "thickness" and job.blank.tolerance is not None
        key, now = f"tolerances.{name}", getattr(job.tolerances, name)
        if own and job.blank.tolerance is not None:
            key, now = "blank.tolerance", job.blank.tolerance
        *_, typed = typed_up(tight, units_of(job.units))
        if typed < now and not (name == "thickness" and known.measured is not None):
            values[key] = typed
    return values
