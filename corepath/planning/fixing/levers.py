"""What may be changed in a job so that its checks hold, and how far. Lengths in mm.

No lever touches a limit that guards tool or hand, or `tolerances.accept`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum

from corepath.job.model import Job
from corepath.planning.fixing.changed_values import value_of
from corepath.planning.prepare import Prepared
from corepath.stackup.advice.remedies import is_cut

__all__ = ["LEAST_CLEAN_UP", "Lever", "LeverKind", "levers_of"]

LEAST_CLEAN_UP = 0.05
"""The least clean-up that still is one: what asks for less asks for none."""

_LEAST_FLOOR = 0.25
_LEAST_HEIGHT = 2.5
_LOWEST_FLOOR = 0.2
_LEAST_STAND = 2.0
_LEAST_SHORT = 0.1
_LEAST_STEP = 0.2
_LARGEST = 2.0
"""Bounds of clean-up, recess and pour line; all of these: common practice, no source."""
_MORE = 10.0
"""mm that core and blank may be thicker."""


class LeverKind(IntEnum):
    """Of what kind a change is, the cheapest for a builder first."""

    MEASURE = 0
    TOUCH = 1
    SET_UP = 2
    DESIGN = 3
    CORE = 4
    BLANK = 5


@dataclass(frozen=True, slots=True)
class Lever:
    """Values that are moved together by one length: `now` by key, and how far they may go down
    (`low`, at most 0) and up (`high`), mm."""

    name: str
    kind: LeverKind
    now: tuple[tuple[str, float], ...]
    low: float
    high: float

    def at(self, move: float) -> dict[str, float]:
        """Returns the values after a move, by key."""
        return {key: value + move for key, value in self.now}


def levers_of(prepared: Prepared) -> dict[str, Lever]:
    """Returns the levers that what is recorded leaves free, by name."""
    found = (*_of_heights(prepared), *_of_hardware(prepared), *_of_stock(prepared))
    # what stands in the shop file is not changed for the sake of one job
    free = (one for one in found if not prepared.of_shop & dict(one.now).keys())
    return {one.name: one for one in free if one.low < 0.0 or one.high > 0.0}


Bounds = tuple[float, float]


def _one(name: str, kind: LeverKind, job: Job, key: str, bounds: Bounds) -> Lever:
    """Returns the lever of one key between two values; a value beyond either stays there."""
    now, (low, high) = float(value_of(job, key)), bounds
    return Lever(name, kind, ((key, now),), min(0.0, low - now), max(0.0, high - now))


def _of_heights(prepared: Prepared) -> Iterator[Lever]:
    job, stack = prepared.resolved, prepared.stackup
    settled, stopped = stack.heights.settled, stack.skim.recorded
    if not any(is_cut(stack, casting) for casting in stack.castings):
        yield _floors(prepared)
        yield _one("least_floor", LeverKind.DESIGN, job, "groove.least_floor", (_LEAST_FLOOR, 0.0))
    if not {"deck", "deck-rough"} & settled.cut:
        yield _one("clean_up", LeverKind.DESIGN, job, "deck.clean_up", (0.0, _LARGEST))
    if not stopped:
        yield _one("step", LeverKind.SET_UP, job, "skim.step", (_LEAST_STEP, 0.0))
    # a flush planes all resin to one height, whatever the line it is poured to
    if not (stopped or settled.fill) and job.cast.flush == "none":
        yield _one("pour_short", LeverKind.SET_UP, job, "cast.pour_short", (_LEAST_SHORT, _LARGEST))
    yield _one("least_height", LeverKind.SET_UP, job, "hold.least_height", (_LEAST_HEIGHT, 0.0))


def _floors(prepared: Prepared) -> Lever:
    """Returns the lever of all floors: the groove's, and those that plugs have of their own."""
    job = prepared.resolved
    keys = ["groove.floor"]
    keys += [f"plug[{k}].floor" for k, plug in enumerate(job.plug, 1) if plug.floor is not None]
    now = tuple((key, float(value_of(job, key))) for key in keys)
    values = [value for _, value in now]
    thick = prepared.stackup.heights.blank.nominal
    low, high = min(0.0, _LOWEST_FLOOR - min(values)), max(0.0, thick - max(values) - 0.5)
    return Lever("floor", LeverKind.DESIGN, now, low, high)


def _of_hardware(prepared: Prepared) -> Iterator[Lever]:
    job, settled = prepared.resolved, prepared.stackup.heights.settled
    if "inserts" not in settled.cut:
        for k in range(1, len(job.insert) + 1):
            key = f"insert[{k}].recess"
            yield _one(f"recess {k}", LeverKind.DESIGN, job, key, (0.0, _LARGEST))
    if "dowels" not in settled.cut:
        for k in range(1, len(job.dowel) + 1):
            yield _one(
                f"stand {k}", LeverKind.SET_UP, job, f"dowel[{k}].stand", (_LEAST_STAND, 0.0)
            )


def _of_stock(prepared: Prepared) -> Iterator[Lever]:
    """Yields the levers of edge, core and blank; edge and core only where the job gives the deck by
    stations: a mesh is changed where it was made."""
    job, known = prepared.resolved, prepared.known
    thick, edge = job.core_thickness, job.board.edge_thickness
    if job.deck.stations is not None and not known.settled.cut & {"deck", "deck-rough"}:
        # no station may be thinner than the edge
        thinnest = min(deck for _, deck in job.deck.stations)
        yield _one("edge", LeverKind.DESIGN, job, "board.edge_thickness", (edge, thinnest))
        if not job.deck.patch:
            yield _one("core", LeverKind.CORE, job, "board.thickness", (edge, thick + _MORE))
    if known.measured is None and not known.settled.gauged and not known.settled.cut:
        now = prepared.stackup.heights.blank.nominal
        yield _one("blank", LeverKind.BLANK, job, "blank.thickness", (now, now + _MORE))
