"""The part of `report.json` that is known before any path is made, under fixed keys. Lengths in
mm."""

from __future__ import annotations

from typing import Any

from corepath.job.text.schema import KEY, REPORT
from corepath.planning.prepare import Prepared
from corepath.planning.questions import outcome
from corepath.planning.report.after_layup import layup_report
from corepath.planning.report.deck_report import deck_report
from corepath.planning.report.hole_list import hole_list
from corepath.reported import reported
from corepath.stackup.checks.registration import registered
from corepath.stackup.core_weight import core_weight
from corepath.stackup.odds.outcome import Outcome
from corepath.stackup.pass_shows import showing
from corepath.stackup.pour.fills import fill_advices
from corepath.stackup.pour.pour import pour_plan
from corepath.stackup.stackup import Stackup
from corepath.stackup.stop_table import pours, stop_table
from corepath.work.dowel_lengths import dowel_lengths
from corepath.work.lay_ready import lay_ready
from corepath.work.lists import FlushFigures, Lists

__all__ = ["checks_report", "lists_of"]


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
        "verdict": lists.outcome,
        "accepted": lists.outcome.accepted,
        "odds": lists.outcome.odds,
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
        "core_weight": lists.weight,
        "lay_ready": lists.ready,
        "deck": deck_report(prepared),
    }
    if prepared.board.template is not None:
        found["template"] = prepared.board.template
    # Not rounded here: the keys of each class say to how many places.
    plain: dict[str, Any] = reported(found, None)
    return plain


def lists_of(prepared: Prepared, verdict: Outcome | None = None) -> Lists:
    """Return the lists of a job: fills, holes, dowels, passes, stops, pour and flush.

    A `verdict` that is known already is taken as it is: to look for fixes may take longer than all
    the rest.
    """
    stack, job = prepared.stackup, prepared.job
    pour = pour_plan(pours(stack), job.cast, job.tolerances.level)
    return Lists(
        outcome=outcome(prepared) if verdict is None else verdict,
        fills=fill_advices(stack, prepared.known.settled),
        holes=hole_list(prepared),
        dowel_lengths=dowel_lengths(stack, prepared.board),
        shows=showing(stack),
        stops=stop_table(stack),
        pour=pour,
        flush=_flush(stack),
        weight=core_weight(stack, prepared.board),
        ready=lay_ready(stack, prepared.board, prepared.ahead, pour),
    )


def _flush(stack: Stackup) -> FlushFigures:
    heights, kind = stack.heights, stack.job.cast.flush
    local = [casting.flush.plane for casting in stack.castings if casting.flush is not None]
    if local:
        return FlushFigures(kind, min(local))
    if heights.face_flush is None:
        return FlushFigures(kind)
    costs = heights.face_flush.costs(heights.came_top(stack.castings[0].shallowest_at))
    return FlushFigures(kind, heights.face_flush.plane, costs.nominal)
