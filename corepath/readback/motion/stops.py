"""Stops: where a hand comes near the cutter, the spindle has stopped and the cutter is above the
stock; and no stop is missing.

Bed frame of the set-up, mm; times in seconds.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.read_program import ReadProgram
from corepath.lengths import mm
from corepath.stock.path import Path

__all__ = ["check_fitting", "check_spin_up", "check_standing", "check_stops", "check_turn"]

_DWELL_ROUNDING = 0.051  # seconds: the text gives a dwell to a tenth
_STOPS = ("stop", "optional-stop", "end")


def check_stops(program: ReadProgram, zero_z: float, highest: float, findings: Findings) -> None:
    """Check that no stop or end comes with the spindle turning or the cutter in the stock, and that
    the spindle never starts without a speed.

    `zero_z` is the height of the work zero above the bed, `highest` that of the stock.
    """
    for event in program.events:
        if event.name == "spindle-on" and not event.value > 0.0:
            findings.add(
                "spindle-off", "M3 without a speed leaves the spindle standing", line=event.line
            )
        if event.name == "speed" and event.spindle and not event.value > 0.0:
            findings.add(
                "spindle-off", "a speed of zero leaves the spindle standing", line=event.line
            )
        if event.name not in _STOPS:
            continue
        if event.spindle and event.name == "end":
            findings.add(
                "stop-with-spindle-on", "no M5 before the end of the program", line=event.line
            )
        elif event.spindle:
            findings.add(
                "stop-with-spindle-on", "the spindle turns while the hand is near", line=event.line
            )
        # 1e-6 mm: a stop just at the height asked for is at it.
        if event.index and program.end[event.index - 1, 2] + zero_z < highest - 1e-6:
            x, y, z = (float(value) for value in program.end[event.index - 1])
            says = f"the cutter stands at {mm(z + zero_z):.3f}, the stock reaches {mm(highest):.3f}"
            findings.add(
                "stop-low",
                says,
                line=event.line,
                place=(x, y, z + zero_z),
                depth=highest - z - zero_z,
            )


def check_standing(program: ReadProgram, zero_z: float, highest: float, findings: Findings) -> None:
    """Check that the spindle neither starts nor stops, and nothing waits, with the cutter below the
    top of the stock: it would break, or burn the wood.

    `zero_z` is the height of the work zero above the bed, `highest` that of the stock. What is at a
    stop or an end is left to `check_stops`.
    """
    told = {event.index for event in program.events if event.name in _STOPS}
    for event in program.events:
        turns = event.name in ("spindle-on", "spindle-off") and event.spindle != (
            event.name == "spindle-on"
        )
        if not event.index or event.index in told or not (turns or event.name == "dwell"):
            continue
        x, y, z = (float(value) for value in program.end[event.index - 1] + (0.0, 0.0, zero_z))
        # 1e-6 mm: a stop just at the height asked for is at it.
        if not z < highest - 1e-6:
            continue
        told.add(event.index)
        what = {"spindle-on": "the spindle starts", "spindle-off": "the spindle stops"}.get(
            event.name, f"it waits {event.value:g} s"
        )
        says = f"{what} with the cutter at {mm(z):.3f}, the stock reaches {mm(highest):.3f}"
        findings.add("stop-low", says, line=event.line, place=(x, y, z), depth=highest - z)


def check_fitting(program: ReadProgram, by_control: bool, findings: Findings) -> None:
    """Check that the cutter that T calls is fitted, and Z touched with it, at a stop (M0) before
    anything moves.

    Where the control knows the lengths of its cutters (`by_control`), M6 alone is enough, or a stop
    at any time before the spindle starts: nobody touches Z there.
    """
    called = next((event for event in program.events if event.name == "tool"), None)
    if called is None:
        return
    first = next(
        (event.line for event in program.events if event.name == "spindle-on"), program.lines
    )
    after = [event for event in program.events if called.line <= event.line <= first]
    # A later stop, such as that of the first approach, comes too late: the cutter has moved by
    # then, and Z was not touched with it.
    still = [event for event in after if event.name == "stop" and event.index == called.index]
    if still or (by_control and any(event.name in ("tool-change", "stop") for event in after)):
        return
    if by_control:
        says = (
            f"neither M0 nor M6 after T{called.value:.0f}: the spindle starts with whatever "
            "cutter it holds"
        )
    else:
        says = (
            f"no M0 between T{called.value:.0f} and the first move: nobody fits the cutter and "
            "touches Z with it"
        )
    findings.add("missing-stop", says, line=first)


def check_spin_up(
    path: Path, cutting: NDArray[np.bool_], needed: float, findings: Findings
) -> None:
    """Check that after each start of the spindle the program dwells `needed` seconds before the
    first cut; `cutting` (n,) tells which motions cut."""
    events = path.program.events
    cuts = path.index[cutting]
    for place, event in enumerate(events):
        if event.name != "spindle-on":
            continue
        first = (
            int(cuts[np.searchsorted(cuts, event.index)])
            if len(cuts) and cuts[-1] >= event.index
            else None
        )
        if first is None:
            continue
        line = int(path.program.line[first])
        after = [other for other in events[place + 1 :] if other.index <= first]
        waits = sum(other.value for other in after if other.name == "dwell")
        if not waits > 0.0:
            findings.add(
                "spindle-not-up",
                "no dwell between the start of the spindle and this cut",
                line=line,
            )
        elif waits < needed - _DWELL_ROUNDING:
            says = f"{waits:g} s between the start of the spindle and this cut, it needs {needed:g}"
            findings.add("spindle-not-up", says, line=line)


def check_turn(program: ReadProgram, findings: Findings) -> None:
    """Check that the last file of a set-up stops the machine at its end: the blank is then cast or
    turned over."""
    last = max(
        (event.index for event in program.events if event.name in ("stop", "end")), default=-1
    )
    if last < program.count:
        says = "the blank is taken up after this file, and nothing stops the machine before"
        findings.add("missing-stop", says, file=program.file, line=program.lines)
