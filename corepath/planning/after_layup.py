"""What is said of the board after lay-up: lengths on arc and chord, tilts, the form, why there are no programs."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from corepath.board.model import Board
from corepath.errors import InputError
from corepath.job.model import Job
from corepath.layup.form import form_of
from corepath.layup.laid import LaidUp, bolts_of, laid_up

__all__ = ["NO_PROGRAMS", "layup_cautions", "layup_report"]

NO_PROGRAMS = (
    "the board is laid up over a rocker and layup.cradle is not set: no program is made for set-up D, a flat one would "
    "cut a curved board in the wrong place; corepath template draws it at full size"
)


def layup_cautions(job: Job) -> tuple[str, ...]:
    """Why a board with a rocker gets no programs after lay-up."""
    layup = job.layup
    curved = layup is not None and layup.rocker is not None and any(rise != 0.0 for _, rise in layup.rocker)
    return (NO_PROGRAMS,) if curved and layup is not None and not layup.cradle else ()


def layup_report(job: Job, board: Board) -> dict[str, Any] | None:
    """The section `layup` of the report; None where the job says nothing of its lay-up."""
    layup = job.layup
    if layup is None:
        return None
    laid = laid_up(job, board)
    low, _, high, _ = board.outline.bounds
    ends, _ = laid.place(np.array([low, high]), laid.kept)
    chord = float(ends[1] - ends[0])
    x = np.linspace(low, high, 1001)
    tilts = np.degrees(laid.tilt(x))
    steepest = int(np.argmax(np.round(np.abs(tilts), 9)))
    return {
        "cradle": layup.cradle,
        "programs": layup.cradle,
        "says": list(layup_cautions(job)),
        "kept_at": round(laid.kept - laid.below, 4),
        "arc_length": round(high - low, 4),
        "chord": round(chord, 4),
        "shortening": round(high - low - chord, 4),
        "greatest_slope": {"degrees": round(float(tilts[steepest]), 4), "x": round(float(x[steepest]), 2)},
        "rise": {"left": _rise(laid, low), "right": _rise(laid, high)},
        "bolts": [_bolt(laid, bolt.id, bolt.x, bolt.y) for bolt in bolts_of(job, board)],
        "form": _form(job, board) if layup.rocker is not None else None,
    }


def _rise(laid: LaidUp, x: float) -> float:
    return round(float(laid.bottom(laid.under(x))), 4)


def _bolt(laid: LaidUp, name: str, x: float, y: float) -> dict[str, Any]:
    """Where a bolt's axis meets the deck in D, the tilt there, and how far an upright hole runs aside in the core."""
    deck = float(laid.deck.height(x, y))
    at, z = laid.place(x, laid.below + deck)
    tilt = float(laid.tilt(x))
    return {
        "id": name,
        "flat": [round(x, 4), round(y, 4)],
        "at": [round(float(at), 4), round(y, 4), round(float(z), 4)],
        "tilt": round(math.degrees(tilt), 4),
        "aside": round(deck * math.tan(abs(tilt)), 4),
        "face_shift": round(float(laid.face_shift(x, y)), 4),
    }


def _form(job: Job, board: Board) -> dict[str, Any] | None:
    """Ribs and spacers; None where the ribs asked for do not fit, which only the command for the form refuses."""
    try:
        form = form_of(job, board)
    except InputError:
        return None
    return {
        "ribs": form.ribs,
        "across": [round(y, 3) for y in form.across],
        "spacers": form.spacers,
        "spacer": [round(size, 3) for size in form.spacer],
        "along": [round(x, 3) for x in form.along],
    }
