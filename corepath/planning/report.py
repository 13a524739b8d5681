"""`report.json`: all that a plan found, under fixed keys. Lengths in mm, times in minutes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from corepath.job.schema import KEY, REPORT
from corepath.motion.program import Corner
from corepath.planning.after_layup import layup_report
from corepath.planning.deck_report import deck_report
from corepath.planning.deck_table import deck_table
from corepath.planning.holes import holes_report
from corepath.planning.make import MadeFile
from corepath.planning.prepare import Prepared
from corepath.planning.times import together
from corepath.stackup.fills import fill_advices
from corepath.stackup.pass_shows import showing
from corepath.stackup.pour import pour_report
from corepath.stackup.registration import registered
from corepath.stackup.stop_table import pours, stop_table
from corepath.work import feed_report
from corepath.work.dowel_lengths import dowel_lengths
from corepath.work.keepoff import Uncut, uncut

__all__ = ["checks_report", "full_report"]


def checks_report(prepared: Prepared) -> dict[str, Any]:
    """What is known before any path is made."""
    blank, stack = prepared.job.blank, prepared.stackup
    return {
        KEY: REPORT.newest,
        "plan": prepared.digest,
        "title": prepared.job.title,
        "job_file": prepared.file,
        "units": "mm",
        "blank": {
            "length": blank.length,
            "width": blank.width,
            "thickness": stack.heights.blank.nominal,
            "tolerance": _blank_error(prepared),
            "measured": stack.heights.blank.measured,
            "known": stack.heights.blank.as_dict(),
            "spoil_board": blank.spoil_board,
            "wood": blank.wood,
        },
        "flip_about": prepared.job.machine.flip_about,
        "cautions": list(prepared.cautions),
        "fills": [advice.as_dict() for advice in fill_advices(stack, prepared.known.settled)],
        "done": sorted(prepared.done),
        "checks": [check.as_dict() for check in prepared.checks],
        "advice": prepared.advice.as_dict(),
        "holes": holes_report(prepared),
        "registration": [thing.as_dict() for thing in registered(stack, prepared.board)],
        "stops": stop_table(stack).as_dict(),
        "shows": [entry.as_dict() for entry in showing(stack)],
        "skim": stack.skim.as_dict(),
        "heights": stack.table.as_dict(),
        "castings": [
            {
                "id": casting.casting.id,
                "floor": round(casting.casting.floor, 4),
                "p_expected": round(casting.pour.p_expected.nominal, 4),
                "p_limit": round(casting.pour.p_limit, 4),
            }
            for casting in stack.castings
        ],
        "flush": _flush(prepared),
        "layup": layup_report(prepared.job, prepared.board, prepared.works),
        "skin": prepared.skin.as_dict() if prepared.skin is not None else None,
        "dowel_lengths": [length.as_dict() for length in dowel_lengths(stack, prepared.board)],
        "pour": pour_report(pours(stack), prepared.job.cast, level=prepared.job.tolerances.level),
        "deck": deck_report(prepared),
    }


def _flush(prepared: Prepared) -> dict[str, Any]:
    """How proud resin is planed off, to which height above the bed in A, and what that costs the window."""
    heights = prepared.stackup.heights
    found: dict[str, Any] = {"kind": prepared.job.cast.flush}
    if heights.face_flush is not None:
        at = prepared.stackup.castings[0].shallowest_at
        found["plane"] = round(heights.face_flush.plane, 4)
        found["window_costs"] = round(heights.face_flush.costs(heights.came_top(at)).nominal, 4)
    local = [casting.flush.plane for casting in prepared.stackup.castings if casting.flush is not None]
    if local:
        found["plane"] = round(min(local), 4)
    return found


def _blank_error(prepared: Prepared) -> float:
    job = prepared.job
    return job.tolerances.thickness if job.blank.tolerance is None else job.blank.tolerance


def full_report(
    prepared: Prepared, files: Sequence[MadeFile], readback: dict[str, Any] | None, despite_failures: bool
) -> dict[str, Any]:
    """The whole report: the checks, one entry for each file, and the read-back (None: not run)."""
    report = checks_report(prepared)
    report["despite_failures"] = despite_failures
    report["operations"] = [_operation(made, prepared) for made in files]
    cut = [made for made in files if _is_cut(made, prepared)]
    report["minutes"] = round(sum(made.minutes for made in cut), 2)
    report["minutes_apart"] = together((made.program.cutter.number, made.apart) for made in cut).as_dict()
    report["deck"]["cutters"] = deck_table(prepared, files)
    report["readback"] = readback
    return report


def _is_cut(made: MadeFile, prepared: Prepared) -> bool:
    """Whether the file is run when the skim stops as planned, pass by pass."""
    if made.program.name != "skim":
        return True
    number = made.program.stem.rpartition("-")[2]
    return number.isdigit() and int(number) <= prepared.stackup.skim.planned_stop


def _operation(made: MadeFile, prepared: Prepared) -> dict[str, Any]:
    program = made.program
    entry: dict[str, Any] = {
        "file": made.name,
        "order": program.order,
        "setup": program.setup,
        "name": program.name,
        "cutter": program.cutter.facts(),
        "zero": {axis: round(getattr(program.zero, axis), 4) + 0.0 for axis in "xyz"},
        "system": program.zero.system,
        "touch": program.zero.touch,
        "touch_again": program.zero.again,
        "watch": list(program.watch),
        "minutes": round(made.minutes, 2),
        "minutes_apart": made.apart.as_dict(),
        **_bound(made),
        "lines": made.lines,
        "extents": {axis: [round(end, 4) + 0.0 for end in getattr(made.extents, axis)] for axis in ("x", "y", "z")},
        "rpm": program.cutting.rpm,
        "feed": program.cutting.feed,
        "feeds": feed_report(prepared.job, made.work, program.used),
        "sha256": made.sha256,
        "points": {
            "given": sum(stretch.given for stretch in program.passes),
            "lines": made.cuts[0],
            "arcs": made.cuts[1],
        },
    }
    if program.combined:
        entry["combined"] = True
    left = [_uncut(piece) for piece in uncut(made.work)]
    if left:
        entry["uncut"] = left
    if program.corners:
        entry["corners"] = [_corner(corner) for corner in program.corners]
    return entry


def _bound(made: MadeFile) -> dict[str, Any]:
    """What any path would take at least, in minutes, and how many times that this one takes."""
    least = made.bound.minutes
    found: dict[str, Any] = {"bound": round(least, 3), "over_bound": round(made.minutes / least, 3)}
    if made.bound.level:
        found["bound_level_ground"] = True
    return found


def _corner(corner: Corner) -> dict[str, Any]:
    """A corner that stays round: its place on the bed of that set-up, mm² and largest mm left."""
    places = {"x": corner.x, "y": corner.y, "area": corner.area, "left": corner.left}
    return {"feature": corner.feature, **{key: round(value, 4) + 0.0 for key, value in places.items()}}


def _uncut(piece: Uncut) -> dict[str, Any]:
    """A piece that is not reached: mm², by what, and its polygon in the bed frame of the set-up."""
    thinned = piece.area.simplify(0.002)
    return {
        "beside": list(piece.names),
        "area": round(piece.area.area, 2),
        "sawn_off": piece.sawn_off,
        "outer": [[round(x, 3) + 0.0, round(y, 3) + 0.0] for x, y in list(thinned.exterior.coords)[:-1]],
        "holes": [[[round(x, 3) + 0.0, round(y, 3) + 0.0] for x, y in list(h.coords)[:-1]] for h in thinned.interiors],
    }
