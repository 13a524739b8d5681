"""The report on the board after lay-up: lengths on arc and chord, tilts, the form, why there are no
programs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from corepath.board.features import Board
from corepath.errors import InputError
from corepath.job.model import Job
from corepath.layup.laid import (
    Bolt,
    LaidUp,
    Pin,
    bolts_of,
    drill_at,
    laid_up,
    pad_of,
    pins_of,
)
from corepath.layup.ribs import form_of
from corepath.lengths import mm
from corepath.reported import reported
from corepath.work.checks.laid_checks import skin_reach
from corepath.work.works import Work

__all__ = ["NO_PROGRAMS", "layup_cautions", "layup_report"]

NO_PROGRAMS = (
    "the board is laid up over a rocker and layup.cradle is not set: no program is made for set-up "
    "D, a flat one would cut a curved board in the wrong place; corepath template draws it at full "
    "size"
)

_MET = 0.5  # mm that the board may reach beyond the last station unnoticed


def layup_cautions(job: Job, board: Board) -> tuple[str, ...]:
    """Return why a board with a rocker gets no programs after lay-up, and where its rocker is only
    assumed; empty for a flat board."""
    layup = job.layup
    if layup is None or layup.rocker is None:
        return ()
    curved = any(rise != 0.0 for _, rise in layup.rocker)
    return (
        *((NO_PROGRAMS,) if curved and not layup.cradle else ()),
        *_beyond_stations(job, board, layup.rocker),
    )


def _beyond_stations(
    job: Job, board: Board, rocker: tuple[tuple[float, float], ...]
) -> Iterator[str]:
    low, _, high, _ = board.outline.bounds
    first, last = laid_up(job, board).under(np.array([low, high])).tolist()
    missing = [
        f"X{mm(x):.1f}"
        for x, beyond in ((first, rocker[0][0] - first), (last, last - rocker[-1][0]))
        if beyond > _MET
    ]
    if missing:
        yield (
            f"the stations of layup.rocker reach from X{mm(rocker[0][0]):g} to "
            f"X{mm(rocker[-1][0]):g}, the board to "
            f"{' and '.join(missing)}: the form is taken to go on straight there; give stations "
            "that span the board"
        )


def layup_report(job: Job, board: Board, works: Sequence[Work]) -> dict[str, Any] | None:
    """Return the section `layup` of the report; None for a job without `[layup]`.

    `bed` is the Z in D of the bed that the cradle stands on. `shifts` has for both ends of the
    board how much farther along X a place lies than in the flat core: along the top of the
    laminate (`face`), along its underside (`under`), and if the middle of a core that tapers keeps
    its length (`taper`).
    """
    layup = job.layup
    if layup is None:
        return None
    laid = laid_up(job, board)
    low, _, high, _ = board.outline.bounds
    ends, _ = laid.place(np.array([low, high]), laid.kept)
    chord = float(ends[1] - ends[0])
    x = np.linspace(low, high, 1001)
    tilts = np.degrees(laid.tilt(x))
    # Rounded, so that of two equal ends the first wins on every machine.
    steepest = int(np.argmax(np.round(np.abs(tilts), 9)))
    found = {
        "cradle": layup.cradle,
        "programs": layup.cradle,
        "says": list(layup_cautions(job, board)),
        "kept_at": laid.kept - laid.below,
        "arc_length": high - low,
        "chord": chord,
        "shortening": high - low - chord,
        "greatest_slope": {"degrees": float(tilts[steepest]), "x": round(float(x[steepest]), 2)},
        "rise": {"left": _rise(laid, low), "right": _rise(laid, high)},
        "bed": laid.bed,
        "skin_outside": skin_reach(job, works),
        "shifts": {name: _ends(laid, name, low, high) for name in ("face", "under", "taper")},
        "bolts": [_bolt(laid, bolt) for bolt in bolts_of(job, board)],
        "dowels": [_pin(pin) for pin in pins_of(laid, [dowel.at for dowel in board.dowels])],
        "pad": list(pad_of(job, laid)),
        "form": _form(job, board) if layup.rocker is not None else None,
    }
    plain: dict[str, Any] = reported(found)
    return plain


def _ends(laid: LaidUp, name: str, low: float, high: float) -> dict[str, float]:
    ends = np.array([low, high])
    off = {
        "face": laid.face_shift(ends, np.zeros(2)),
        "under": laid.under_shift(ends),
        "taper": laid.taper_shift(ends),
    }
    return dict(zip(("left", "right"), np.round(off[name], 4).tolist(), strict=True))


def _rise(laid: LaidUp, x: float) -> float:
    return float(laid.bottom(laid.under(x)))


def _bolt(laid: LaidUp, bolt: Bolt) -> dict[str, Any]:
    """Return where an upright drill is placed in D and meets the laminate, and where the bolt's
    axis meets the deck.

    Also the tilt there, how far an upright hole drifts sideways in the core, and how far the place
    is shifted along each face.
    """
    x, y = bolt.x, bolt.y
    deck = float(laid.deck.height(x, y))
    on_deck, z = laid.place(x, laid.below + deck)
    tilt, at = float(laid.tilt(x)), drill_at(laid, bolt)
    return {
        "id": bolt.id,
        "flat": [x, y],
        "at": [at[0], at[1], float(laid.top(*at))],
        "deck_at": [float(on_deck), y, float(z)],
        "tilt": math.degrees(tilt),
        "aside": deck * math.tan(abs(tilt)),
        "face_shift": float(laid.face_shift(x, y)),
        "under_shift": float(laid.under_shift(x)),
        "taper_shift": float(laid.taper_shift(x)),
    }


def _pin(pin: Pin) -> dict[str, Any]:
    return {
        "at": [pin.x, pin.y, pin.z],
        "tilt": math.degrees(pin.tilt),
    }


def _form(job: Job, board: Board) -> dict[str, Any] | None:
    """Return ribs and spacers of the form; None where the ribs asked for do not fit.

    A plan needs no form, so that fault is reported only by the command that makes one.
    """
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
