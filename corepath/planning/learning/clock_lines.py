"""What the minutes in a record say about the machine, in lines for the screen."""

from __future__ import annotations

from pathlib import Path

from corepath.job.record.ascut import Record
from corepath.motion.clock import Limits
from corepath.planning.folder.last_plan import last_plan
from corepath.planning.learning.clock_fit import ClockFit, fit_clock
from corepath.planning.learning.timed_files import minutes_of_record, timed_files

__all__ = ["clock_lines", "keys_to_type"]

_MISSED = 0.05


def clock_lines(job: Path, record: Record, limits: Limits) -> list[str]:
    """Return a line for each file that was timed, the acceleration and corner time that fit them,
    and how sure that is; empty where none was timed."""
    minutes = minutes_of_record(record)
    if not minutes:
        return []
    held = last_plan(job)
    files, missing = timed_files(None if held is None else Path(held.name), minutes)
    lines = [f"- {name} is not in the folder of the last plan: not counted" for name in missing]
    fit = fit_clock(files, limits)
    if fit is None:
        return lines
    lines += [
        f"- {one.name}: {one.measured:g} min measured, {one.planned:.2f} by the job, "
        f"{one.fitted:.2f} fitted"
        for one in fit.files
    ]
    return [*lines, f"- {keys_to_type(fit, limits)}", *_doubts(fit)]


def keys_to_type(fit: ClockFit, limits: Limits) -> str:
    """Return the values that fit as they are typed, and those that the job has."""
    found, had = fit.limits, limits
    return (
        f"values to type under [machine], of the job or its shop file: accel = {_rounded(found)} "
        f"({fit.low:.0f} to {fit.high:.0f} fit as well; the job has {had.accel:g}), corner_time = "
        f"{_standing(found.corner_time)} (the job has {had.corner_time:g})"
    )


def _rounded(limits: Limits) -> str:
    """Return an acceleration with two digits more than it is known to."""
    return f"{float(f'{limits.accel:.3g}'):g}"


def _standing(seconds: float) -> str:
    """Return a corner time; one that is very short still says that the machine comes to rest."""
    return f"{max(seconds, 0.001):.3f}" if seconds else "0"


def _doubts(fit: ClockFit) -> list[str]:
    lines = []
    if abs(fit.worst.off) > _MISSED:
        lines.append(
            f"- caution: {fit.worst.name} does not fit: {fit.worst.measured:g} measured, "
            f"{fit.worst.fitted:.2f} fitted. Did it wait at a stop, or was it slowed by hand?"
        )
    if not fit.sure:
        lines.append(
            "- not sure yet: time three files or more, one with long lines (a pass of the skim), "
            "one with many turns (deck-rough, inserts), to a hundredth of a minute"
        )
    return lines
