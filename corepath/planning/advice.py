"""What a prepared job can be told beyond its checks: passes, stops, suggested values, where to measure."""

from __future__ import annotations

from pathlib import Path

from corepath.planning.prepare import Prepared
from corepath.stackup.measuring import template_text
from corepath.stackup.pass_shows import PassShows, showing
from corepath.stackup.stop_table import StopTable, stop_table
from corepath.stackup.suggest import Suggestion, suggest

__all__ = ["measuring_path", "passes", "stops", "suggestion", "write_measuring"]


def passes(prepared: Prepared) -> tuple[PassShows, ...]:
    """What shows after each pass of the skim."""
    return showing(prepared.stackup)


def stops(prepared: Prepared) -> StopTable:
    """What hangs on the pass at which the skim stops."""
    return stop_table(prepared.stackup)


def suggestion(prepared: Prepared) -> Suggestion:
    """Job values that pass with the widest margin."""
    return suggest(prepared.stackup, prepared.checks)


def measuring_path(job_path: Path) -> Path:
    """Where the places to measure are written."""
    return job_path.with_suffix(".measure.csv")


def write_measuring(prepared: Prepared, job_path: Path) -> Path | None:
    """Write `NAME.measure.csv` to be filled in, for a blank that was not measured; never over an existing one.

    Returns its path, also where it was there before; None for a measured blank or where it cannot be written.
    """
    if prepared.known.measured is not None:
        return None
    path = measuring_path(job_path)
    try:
        with path.open("x", encoding="utf-8") as stream:
            stream.write(template_text(prepared.job, prepared.board))
    except FileExistsError:
        return path
    except OSError:
        return None
    return path
