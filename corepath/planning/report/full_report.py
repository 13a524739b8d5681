"""`report.json`: all results of a plan, under fixed keys. Lengths in mm, times in minutes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from corepath.motion.pass_name import is_run, minutes_to_stop
from corepath.planning.prepare import Prepared
from corepath.planning.proving.proof import Proof
from corepath.planning.report.checks_report import checks_report, lists_of
from corepath.planning.report.deck_deviation import deck_deviation
from corepath.planning.report.deck_table import ComparedCutter, compared_cutters
from corepath.planning.report.operation_entry import operation_entry
from corepath.planning.report.ridge_minutes import RidgeMinutes, ridge_minutes
from corepath.planning.report.times import MinutesApart, together
from corepath.readback.result import ReadBack
from corepath.reported import reported
from corepath.stackup.casting_on_deck import Columns, DeckCasting, expected_columns, shown_casting
from corepath.views.deck.deviation_sheet import Deviations
from corepath.work.lists import Lists

__all__ = ["Results", "full_report", "results_of"]


@dataclass(frozen=True, slots=True)
class Results:
    """The results of a plan in addition to its files and read-back; `deviation` is None where no
    finished deck was read back, `ridges` empty where the deck does not take long.

    `minutes` and `apart` are those of the files that are run when the skim stops as planned.
    """

    lists: Lists
    minutes: float
    apart: MinutesApart
    cutters: tuple[ComparedCutter, ...]
    deviation: Deviations | None
    casting: DeckCasting
    ridges: tuple[RidgeMinutes, ...]


def results_of(
    proof: Proof, cutters: tuple[ComparedCutter, ...] | None = None, lists: Lists | None = None
) -> Results:
    """Return lists, times, cutters for the deck, its deviation, and what shows of the casting;
    `lists` and `cutters` as they are where they have been worked out already."""
    prepared, readback = proof.prepared, proof.readback
    stop = prepared.stackup.skim.planned_stop
    run = [one for one in proof.made if is_run(one.program.stem, stop)]
    minutes = round(minutes_to_stop({one.program.stem: one.minutes for one in run}, stop), 2)
    return Results(
        lists=lists_of(prepared) if lists is None else lists,
        minutes=minutes,
        apart=together((one.program.cutter.number, one.apart) for one in run),
        cutters=compared_cutters(prepared, proof.made) if cutters is None else cutters,
        deviation=deck_deviation(prepared, readback),
        casting=_deck_casting(prepared, readback),
        ridges=ridge_minutes(prepared, proof.made, minutes),
    )


def _deck_casting(prepared: Prepared, readback: ReadBack | None) -> DeckCasting:
    """Return what of the casting shows once the deck is cut: from the read-back where the deck was
    cut in it, otherwise as the stack-up expects it."""
    left = readback.remaining.get("C") if readback is not None else None
    if left is None:
        columns = expected_columns(prepared.stackup, prepared.board)
    else:
        columns = Columns(left.grid.xs, left.grid.ys, left.wood[1], left.casting[1], "read-back")
    return shown_casting(prepared.board, columns, prepared.job.groove.inside)


def full_report(proof: Proof, results: Results, despite_failures: bool = False) -> dict[str, Any]:
    """Return the whole report: the checks, one entry for each file, and the read-back (null where
    it was not run)."""
    prepared, made = proof.prepared, proof.made
    report = checks_report(prepared, results.lists)
    later = {
        "despite_failures": despite_failures,
        "operations": [operation_entry(one, prepared.job) for one in made],
        "minutes": results.minutes,
        "minutes_apart": results.apart,
        "readback": proof.readback,
        "deck_casting": results.casting,
        "rehearsals": proof.walks,
        "touches": proof.touches.files,
    }
    deck = {
        "cutters": results.cutters,
        "ridges": results.ridges,
        "deviation": results.deviation,
    }
    report["deck"] |= reported(deck, None)
    return {**report, **reported(later, None)}
