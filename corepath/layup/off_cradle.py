"""What happens where a laid-up board does not lie on its cradle: its own curve differs by some mm
at the ends, as after more or less spring-back than allowed for. Frame of D, lengths in mm.

A board flatter than its cradle rests on the cradle's ends, a rounder one on its middle; between, it
stands off by what the two curves differ. It is cut where the cradle has it, so too deep by that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.layup.curve import end_rise, held_curve
from corepath.layup.laid import LaidUp, bolts_of, drill_at, laid_up
from corepath.lengths import mm

__all__ = ["DIFFERENCE", "OffBolt", "off_bolts", "off_cradle_lines", "stands_off"]

DIFFERENCE = 5.0
"""mm by which laminates of this size spring back at the ends (common practice, no source): what is
told of it is for that much, or half of a curve that rises less."""

_WAYS = (-1.0, 1.0)
_TRIM_WEB = 0.5


@dataclass(frozen=True, slots=True)
class OffBolt:
    """A bolt of a board that does not lie on its cradle: how far aside its hole is drilled
    (`aside`), how much too deep (`deeper`), and how deep it may be over an insert before the barrel
    is met (`room`, None for a plug)."""

    id: str
    aside: float
    deeper: float
    room: float | None


def stands_off(job: Job, board: Board, less: float, x: float) -> float:
    """Returns how far a board whose ends rise `less` (mm, negative: more) less than those of its
    cradle stands off it at flat `x`, pressed down nowhere."""
    half = job.blank.length / 2.0
    own, cradle = _curves(job, board, less)
    places = np.append(np.linspace(-half, half, 201), x)
    off = own.bottom(cradle.under(places)) - cradle.bottom(cradle.under(places))
    # set down until it touches: at both ends, or at one place between
    tilt = np.interp(places, [-half, half], off[[0, 200]]) if less > 0.0 else np.zeros_like(off)
    off = off - tilt
    return float(off[-1] - off.min())


def _curves(job: Job, board: Board, less: float) -> tuple[LaidUp, LaidUp]:
    return laid_up(job, board, held_curve(job, less)), laid_up(job, board)


def off_bolts(job: Job, board: Board, less: float) -> tuple[OffBolt, ...]:
    """Returns what a difference of `less` mm at the ends does to each bolt hole."""
    own, cradle = _curves(job, board, less)
    found = []
    for bolt in bolts_of(job, board):
        if bolt.diameter is None:
            continue
        aside = drill_at(own, bolt)[0] - drill_at(cradle, bolt)[0]
        deeper = stands_off(job, board, less, bolt.x)
        found.append(
            OffBolt(bolt.id, aside, deeper, None if bolt.room is None else bolt.room / 2.0)
        )
    return tuple(found)


def off_cradle_lines(job: Job, board: Board) -> tuple[str, ...]:
    """Returns in words what a difference of 5 mm does, where a cradle holds a curved board; empty
    elsewhere."""
    return tuple(_lines(job, board))


def _lines(job: Job, board: Board) -> Iterator[str]:
    layup = job.layup
    given = layup.rocker if layup is not None else None
    if (
        layup is None
        or not layup.cradle
        or given is None
        or any(b[0] <= a[0] for a, b in pairwise(given))
    ):
        return
    rise = end_rise(given) - layup.spring_back
    if rise <= 0.0:
        return
    by = min(DIFFERENCE, rise / 2.0)
    both = [off_bolts(job, board, way * by) for way in _WAYS]
    found = [one for some in both for one in some]
    parts = []
    if found:
        aside = max(found, key=lambda one: (round(abs(one.aside), 6), one.id))
        parts.append(f"bolt holes come up to {mm(abs(aside.aside)):.2f} aside ({aside.id})")
    met = [one for one in found if one.room is not None and one.deeper > one.room]
    if met:
        worst = max(met, key=lambda one: (round(one.deeper, 6), one.id))
        room = mm(worst.room or 0.0)
        parts.append(
            f"{worst.id} is bored {mm(worst.deeper):.1f} deeper, into its barrel ({room:.1f} of "
            "room)"
        )
    web = job.trim.web if job.trim is not None else _TRIM_WEB
    lift = max(stands_off(job, board, way * by, x) for way in _WAYS for x in _along(board))
    cut = "is cut through" if lift > web else f"is {mm(web - lift):.2f} thin"
    parts.append(f"the web of {mm(web):g} {cut} where it stands {mm(lift):.1f} off")
    sprung = (
        f"spring-back of {mm(layup.spring_back):g} is allowed for"
        if layup.spring_back
        else "no spring-back is allowed for (layup.spring_back)"
    )
    yield (
        f"{sprung}: a board that rises {mm(by):.1f} more or less than its cradle from its middle "
        f"to the form's last stations, pressed down nowhere: {'; '.join(parts)}. Press it down all "
        "along, or measure its rise first"
    )


def _along(board: Board) -> tuple[float, ...]:
    low, _, high, _ = board.outline.bounds
    return tuple(float(x) for x in np.linspace(low, high, 9))
