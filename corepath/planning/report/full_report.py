"""`report.json`: all results of a plan, under fixed keys. Lengths in mm, times in minutes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from corepath.job.text.schema import KEY, REPORT
from corepath.motion.pass_name import is_run, minutes_to_stop
from corepath.planning.prepare import Prepared
from corepath.planning.proof import Proof
from corepath.planning.report.after_layup import layup_report
from corepath.planning.report.deck_deviation import deck_deviation
from corepath.planning.report.deck_report import deck_report
from corepath.planning.report.deck_table import ComparedCutter, compared_cutters
from corepath.planning.report.hole_list import hole_list
from corepath.planning.report.operation_entry import operation_entry
from corepath.planning.report.times import Apart, together
from corepath.readback.result import ReadBack
from corepath.reported import reported
from corepath.stackup.casting_on_deck import Columns, DeckCasting, expected_columns, shown_casting
from corepath.stackup.checks.registration import registered
from corepath.stackup.pass_shows import showing
from corepath.stackup.pour.fills import fill_advices
from corepath.stackup.pour.pour import pour_plan
from corepath.stackup.stackup import Stackup
from corepath.stackup.stop_table import pours, stop_table
from corepath.views.deck.deviation_sheet import Deviations
from corepath.work.dowel_lengths import dowel_lengths
from corepath.work.lists import FlushFigures, Lists

__all__ = ["Results", "checks_report", "full_report", "lists_of", "results_of"]


@dataclass(frozen=True, slots=True)
class Results:
    """The results of a plan in addition to its files and read-back; `deviation` is None where no
    finished deck was read back.

    `minutes` and `apart` are those of the files that are run when the skim stops as planned.
    """

    lists: Lists
    minutes: float
    apart: Apart
    cutters: tuple[ComparedCutter, ...]
    deviation: Deviations | None
    casting: DeckCasting


def results_of(proof: Proof) -> Results:
    """Return lists, times, cutters for the deck, its deviation, and what shows of the casting."""
    prepared, readback = proof.prepared, proof.readback
    stop = prepared.stackup.skim.planned_stop
    run = [one for one in proof.made if is_run(one.program.stem, stop)]
    return Results(
        lists=lists_of(prepared),
        minutes=round(minutes_to_stop({one.program.stem: one.minutes for one in run}, stop), 2),
        apart=together((one.program.cutter.number, one.apart) for one in run),
        cutters=compared_cutters(prepared, proof.made),
        deviation=deck_deviation(prepared, readback),
        casting=_deck_casting(prepared, readback),
    )


def lists_of(prepared: Prepared) -> Lists:
    """Return the lists of a job: fills, holes, dowels, passes, stops, pour and flush."""
    stack, job = prepared.stackup, prepared.job
    return Lists(
        fills=fill_advices(stack, prepared.known.settled),
        holes=hole_list(prepared),
        dowel_lengths=dowel_lengths(stack, prepared.board),
        shows=showing(stack),
        stops=stop_table(stack),
        pour=pour_plan(pours(stack), job.cast, job.tolerances.level),
        flush=_flush(stack),
    )


def checks_report(prepared: Prepared, lists: Lists | None = None) -> dict[str, Any]:
    """Return the part of the report that is known before any path is made.

    `lists` are taken as they are where they have been made already.
    """
    blank, stack = prepared.job.blank, prepared.stackup
    lists = lists or lists_of(prepared)
    found = {
        KEY: REPORT.newest,
        "plan": prepared.digest,
        "title": prepared.job.title,
        "job_file": prepared.file,
        "units": "mm",
        "blank": {
            "length": blank.length,
            "width": blank.width,
            "thickness": stack.heights.blank.nominal,
            "tolerance": stack.heights.blank.error,
            "measured": stack.heights.blank.measured,
            "known": stack.heights.blank,
            "spoil_board": blank.spoil_board,
            "wood": blank.wood,
        },
        "flip_about": prepared.job.machine.flip_about,
        "cautions": prepared.cautions,
        "fills": lists.fills,
        "done": sorted(prepared.done),
        "checks": prepared.checks,
        "advice": prepared.advice,
        "holes": lists.holes,
        "registration": registered(stack, prepared.board),
        "stops": lists.stops,
        "shows": lists.shows,
        "skim": stack.skim,
        "heights": stack.table,
        "castings": stack.castings,
        "flush": lists.flush,
        "layup": layup_report(prepared.job, prepared.board, prepared.works),
        "skin": prepared.skin,
        "dowel_lengths": lists.dowel_lengths,
        "pour": lists.pour,
        "deck": deck_report(prepared),
    }
    # Not rounded here: the keys of each class say to how many places.
    plain: dict[str, Any] = reported(found, None)
    return plain


def _deck_casting(prepared: Prepared, readback: ReadBack | None) -> DeckCasting:
    """Return what of the casting shows once the deck is cut: from the read-back where the deck was
    cut in it, otherwise as the stack-up expects it."""
    left = readback.remaining.get("C") if readback is not None else None
    if left is None:
        columns = expected_columns(prepared.stackup, prepared.board)
    else:
        columns = Columns(left.grid.xs, left.grid.ys, left.wood[1], left.casting[1], "read-back")
    return shown_casting(prepared.board, columns, prepared.job.groove.inside)


def _flush(stack: Stackup) -> FlushFigures:
    heights, kind = stack.heights, stack.job.cast.flush
    local = [casting.flush.plane for casting in stack.castings if casting.flush is not None]
    if local:
        return FlushFigures(kind, min(local))
    if heights.face_flush is None:
        return FlushFigures(kind)
    costs = heights.face_flush.costs(heights.came_top(stack.castings[0].shallowest_at))
    return FlushFigures(kind, heights.face_flush.plane, costs.nominal)


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
    }
    report["deck"] |= reported({"cutters": results.cutters, "deviation": results.deviation}, None)
    return {**report, **reported(later, None)}
