"""Answers about a prepared job beyond its checks: the verdict, passes, stops, where to measure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from corepath.job.text.writing import write_new
from corepath.planning.prepare import Prepared
from corepath.stackup.core_weight import CoreWeight, core_weight
from corepath.stackup.odds.outcome import Outcome, outcome_of
from corepath.stackup.pass_shows import PassShows, showing
from corepath.stackup.pour.pour import POUR_HEADER, pour_notes, pour_plan, pour_rows
from corepath.stackup.stop_table import StopTable, pours, stop_table
from corepath.work.lay_ready import Ready, lay_ready

__all__ = [
    "PourSheet",
    "made_of",
    "measuring_path",
    "outcome",
    "passes",
    "pour_sheet",
    "stops",
    "write_measuring",
]


def outcome(prepared: Prepared) -> Outcome:
    """Return the verdict on the whole job, with its odds and with fixes where not all is OK."""
    found = outcome_of(prepared.checks, prepared.stackup, prepared.board, prepared.odds)
    if found.answer == "ready":
        return found
    # loaded here: a job that is ready needs neither this nor its solver
    from corepath.planning.fixing.search import find_fixes

    return replace(found, fixes=find_fixes(prepared))


def passes(prepared: Prepared) -> tuple[PassShows, ...]:
    """Return what shows of each casting after each pass of the skim, in the order cut."""
    return showing(prepared.stackup)


@dataclass(frozen=True, slots=True)
class PourSheet:
    """The pour as text: a table, notes on castings and cups, and cautions."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def pour_sheet(prepared: Prepared) -> PourSheet | None:
    """Return what to mix and how level the blank must lie; None once the fill of every casting is
    recorded."""
    from corepath.stackup.pour.cups import cup_plan

    castings, cast = pours(prepared.stackup), prepared.job.cast
    if all(pour.id in prepared.known.settled.fill for pour in castings):
        return None
    notes = [
        note for pour in castings for note in pour_notes(pour, cast, prepared.job.tolerances.level)
    ]
    cups = cup_plan(castings, cast)
    return PourSheet(POUR_HEADER, pour_rows(castings, cast), (*notes, *cups.notes), cups.cautions)


def made_of(prepared: Prepared) -> tuple[CoreWeight, tuple[Ready, ...]]:
    """Return what the core weighs and where it balances, and what to lay ready for it."""
    stack, job = prepared.stackup, prepared.job
    pour = pour_plan(pours(stack), job.cast)
    ready = lay_ready(stack, prepared.board, prepared.ahead, pour)
    return core_weight(stack, prepared.board), ready


def stops(prepared: Prepared) -> StopTable:
    """Return, for each possible stop of the skim, the heights and margins that depend on it."""
    return stop_table(prepared.stackup)


def measuring_path(job_path: Path) -> Path:
    """Return the path of the file in which measured places are filled in, beside the job."""
    return job_path.with_suffix(".measure.csv")


def write_measuring(prepared: Prepared, job_path: Path) -> Path | None:
    """Write `NAME.measure.csv`, to be filled in, for a blank that was not measured; never over an
    existing one.

    Returns its path, also where it existed before; None for a measured blank or where it cannot be
    written: it is only a help, and must not make a command fail.
    """
    if prepared.known.measured is not None:
        return None
    from corepath.stackup.measuring.places_to_measure import template_text

    path = measuring_path(job_path)
    try:
        write_new(path, template_text(prepared.job, prepared.board).encode("utf-8"))
    except FileExistsError:
        return path
    except OSError:
        return None
    return path
