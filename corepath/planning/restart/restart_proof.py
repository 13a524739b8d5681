"""Check a restart that was read back: from its plunge on it must do what the file does, and its
approach must be safe. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.read_program import ReadProgram
from corepath.planning.restart.restart_state import plunge_feed, spin_up
from corepath.readback.foreign.tools_called import tools_called
from corepath.readback.motion.first_way import first_look

__all__ = ["HARMLESS", "differs"]

HARMLESS = frozenset({"block-delete", "after-end", "missing-end"})
"""Findings that neither keep a file from being restarted nor a restart from being used."""

_SAME = 2e-4
"""mm (and mm/min): how far a motion may be from that of the file. Places are written to the file's
last digit, 0.0001 mm or 0.00001 in, whose rounding moves them by at most 0.00013 mm."""

_FIRST_SYSTEM = 540
"""G54, which holds where a file names none."""


def differs(file: ReadProgram, index: int, made: ReadProgram, clear: float) -> Iterator[str]:
    """Yield what is wrong with the restart `made`, against the motions of `file` from `index` on;
    `clear` is the safe height, mm."""
    for finding in made.findings:
        if finding.kind not in HARMLESS:
            yield str(finding)
    yield from _states(file, made)
    # The rest of the file must be the end of the restart; everything before that is its approach.
    count = file.count - index
    if made.count < count:
        yield f"{made.count} motions, where the file has {count} from there on"
        return
    begin = made.count - count
    old, new = slice(index, None), slice(begin, None)
    cuts = file.kind[old] > 0
    # Starts of rapids are not compared: the first one begins where the approach ends.
    if not np.array_equal(file.kind[old], made.kind[new]):
        yield "its motions are not of the kinds that the file has"
        return
    for name, here, there in (
        ("ends", file.end[old], made.end[new]),
        ("starts", file.start[old][cuts], made.start[new][cuts]),
        ("centres", file.centre[old], made.centre[new]),
        ("feeds", file.feed[old][cuts][:, None], made.feed[new][cuts][:, None]),
    ):
        apart = np.abs(here - there)
        # NaN (no centre, no feed, a place that cannot be known) must stand in the same places.
        if (
            not np.array_equal(np.isnan(here), np.isnan(there))
            or np.nanmax(apart, initial=0.0) > _SAME
        ):
            yield f"its {name} are not those of the file"
    if not np.array_equal(file.spindle_on[old], made.spindle_on[new]):
        yield "the spindle does not turn where it does in the file"
    if not np.array_equal(tools_called(file)[old], tools_called(made)[new]):
        yield "its cutter is not that of the file"
    turning = cuts & file.spindle_on[old]
    if not np.array_equal(_speeds(file)[old][turning], _speeds(made)[new][turning]):
        yield "the spindle turns at another speed than in the file"
    if _events(file, index) != _events(made, begin):
        yield "its stops, waits and starts of the spindle are not those of the file"
    yield from _approach(file, made, begin, clear)


def _events(program: ReadProgram, index: int) -> list[tuple[int, str, float]]:
    """Return what happens between motions after the motion `index`, counted from there."""
    return [
        (event.index - index, event.name, event.value)
        for event in program.events
        if event.index > index
    ]


def _states(file: ReadProgram, made: ReadProgram) -> Iterator[str]:
    """Yield modes that the file states and the restart does not, or states otherwise; a missing
    stop before it moves; a first way down that is not as slow as the file's."""
    lost = [group for group in made.unstated if group not in file.unstated]
    if lost or (file.units_stated and not made.units_stated):
        yield f"not stated before its first move: {', '.join(lost or ['units'])}"
    for name, had, has in (
        ("coordinate system", set(file.systems) or {_FIRST_SYSTEM}, set(made.systems)),
        ("path control", set(file.path_modes), set(made.path_modes)),
    ):
        if not has <= had:
            yield f"its {name} is not that of the file"
    if not any(event.name == "stop" and event.index == 0 for event in made.events):
        yield "no stop before it moves: nobody checks cutter, zero and chips"
    look, seen = first_look(file), first_look(made)
    if look is None:
        return
    if seen is None or not np.allclose(
        file.end[look - 1], made.end[seen - 1], 0.0, _SAME, equal_nan=True
    ):
        yield "no stop to look at the tip where the file has one on its first way down"
    if (made.kind[:seen] == 0).any() and not (file.kind[:look] == 0).any():
        yield "its first way down goes at rapid"
    if (
        not np.nanmax(made.feed[:seen], initial=0.0)
        <= np.nanmax(file.feed[:look], initial=0.0) + _SAME
    ):
        yield "its first way down goes faster than that of the file"


def _speeds(program: ReadProgram) -> NDArray[np.float64]:
    """Return the spindle speed set at each motion (n,), rpm; 0 before the first one is set."""
    speeds = np.zeros(program.count)
    for event in program.events:
        if event.name == "speed":
            speeds[event.index :] = event.value
    return speeds


def _approach(file: ReadProgram, made: ReadProgram, begin: int, clear: float) -> Iterator[str]:
    """Yield what is wrong with the approach: it must consist of rapids at the safe height, the
    spindle coming up to speed, and one straight plunge no faster than the file's."""
    lead, rapids = made.end[:begin], made.kind[:begin] == 0
    if not (lead[rapids, 2] >= clear - _SAME).all():
        yield "a rapid of the approach comes below the safe height"
    still = ~made.spindle_on[:begin]
    plunges = ~rapids & ~still
    if plunges.sum() > 1 or not (lead[~rapids & still, 2] >= clear - _SAME).all():
        yield "the approach cuts otherwise than by one plunge with the spindle turning"
    if not (made.feed[:begin][plunges] <= plunge_feed(file)[0] + _SAME).all():
        yield "it goes down faster than the file does"
    level = np.hypot(*(made.end[:begin] - made.start[:begin])[plunges, :2].T)
    if not (level <= _SAME).all():
        yield "it does not go straight down"
    if made.spindle_on[: begin + 1].any() and _waited(made, begin) < spin_up(file) - _SAME:
        yield "it does not wait for the spindle as long as the file does"


def _waited(made: ReadProgram, begin: int) -> float:
    """Return the longest wait, in seconds, between the last start of the spindle in the approach
    and the first cut after it."""
    longest, cut = 0.0, -1
    cuts = [*np.flatnonzero(made.kind > 0).tolist(), made.count]
    for event in made.events:
        if event.name == "spindle-on" and event.index <= begin:
            longest, cut = 0.0, cuts[int(np.searchsorted(cuts, event.index))]
        elif event.name == "dwell" and event.index <= cut:
            longest = max(longest, event.value)
    return longest
