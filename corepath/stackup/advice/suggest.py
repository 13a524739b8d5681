"""Find the set of job values that passes with the widest margins, by linear programming.

The worst-case margins of the checks are linear in the values that the shop is free to choose. The
least margin is made as large as possible; the checks that limit it are then fixed there, and the
least of the others is made as large as possible, and so on until no margin can grow or all are
ample (lexicographic max-min, each step one linear program solved by scipy's HiGHS). Of all sets
that do equally well, the one that changes the job least is taken. What the record says is cut,
poured or skimmed stays as it is.

The program knows the checks on heights. Whoever shows a suggestion prepares the job with it first
and keeps in `against` what fails there (`corepath.planning.questions.suggestion`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.job.model import Job
from corepath.reported import Key, report_keys
from corepath.stackup.advice.remedies import is_cut
from corepath.stackup.checks.depth_checks import holds_at
from corepath.stackup.checks.verdict import Check
from corepath.stackup.pour.pour import depth_loss
from corepath.stackup.stackup import CLOSED, Stackup

__all__ = ["Suggestion", "suggest", "with_values"]

Floats = NDArray[np.float64]

ROUND = 0.01
"""mm: what a job value is rounded to."""

AMPLE = 0.3
"""mm: a margin beyond the worst case that need not grow further (common practice, no source)."""


SLACK = 1e-5
"""mm given up of a margin that is fixed, so that the next program is not infeasible by rounding: a
hundred times the solver's tolerance, 1e-7, and a thousandth of what values are rounded to."""


@report_keys(Key("values", places=None), "least_margin", "passes", "against")
@dataclass(frozen=True, slots=True)
class Suggestion:
    """Values (mm) by the key of the job file, and the least margin (mm) that they leave.

    `against`: in words what fails, or is refused as input, in a job with these values; filled once
    such a job was checked.
    """

    values: Mapping[str, float]
    least_margin: float
    against: tuple[str, ...] = ()

    @property
    def deep_enough(self) -> bool:
        """Whether the checks on heights pass by the linear program."""
        # ten times the solver's tolerance of 1e-7: a margin of 0 counts as held
        return self.least_margin >= -1e-6

    @property
    def passes(self) -> bool:
        return self.deep_enough and not self.against


def with_values(job: Job, values: Mapping[str, float]) -> Job:
    """Return the job with suggested values (mm, by key) in it; a key of an array of tables is set
    in each of them."""
    update: dict[str, Any] = {}
    for key, value in values.items():
        section, name = key.split(".")
        held = update.get(section, getattr(job, section))
        if isinstance(held, tuple):
            update[section] = tuple(row.model_copy(update={name: value}) for row in held)
        else:
            update[section] = held.model_copy(update={name: value})
    return job.model_copy(update=update)


@dataclass(frozen=True, slots=True)
class _Free:
    """One value that may be chosen, mm: its key, what it is `now`, and the bounds that trade and
    tool set."""

    key: str
    now: float
    low: float
    high: float


def suggest(stack: Stackup, checks: Sequence[Check]) -> Suggestion:
    """Solve for the free values of a stack-up; the margins start from `checks` as judged now.

    Raises RuntimeError where the solver fails.
    """
    free = _free(stack)
    names = [value.key for value in free]
    rows, base = _margins(stack, checks, names)
    if not free:
        return Suggestion({}, min(base))
    bounds = [(value.low - value.now, value.high - value.now) for value in free]
    held, least = _held_margins(rows, base, bounds)
    moves = _least_change(rows, base, bounds, held)
    values = {
        value.key: round((value.now + move) / ROUND) * ROUND
        for value, move in zip(free, moves, strict=True)
    }
    return Suggestion({key: round(value, 4) for key, value in values.items()}, least)


Bounds = list[tuple[float, float]]


def _held_margins(
    rows: list[Floats], base: list[float], bounds: Bounds
) -> tuple[dict[int, float], float]:
    """Return what each margin can be fixed at, by its index, and the least of them.

    `rows` are the changes of the margins for 1 mm of each value, `base` the margins now, `bounds`
    how far each value may move, all mm.
    """
    from scipy.optimize import linprog

    held: dict[int, float] = {}
    least: float | None = None
    # Variables: the moves, and one margin t to be made as large as possible. Each check gives
    # base + row . move >= t, or >= what it is fixed at.
    cost = np.append(np.zeros(len(bounds)), -1.0)
    while len(held) < len(rows):
        waiting = [k for k in range(len(rows)) if k not in held]
        matrix = [[*(-rows[k]), 1.0 if k in waiting else 0.0] for k in range(len(rows))]
        limits = [base[k] - held.get(k, 0.0) for k in range(len(rows))]
        solved = linprog(
            cost, A_ub=matrix, b_ub=limits, bounds=[*bounds, (None, AMPLE)], method="highs"
        )
        if solved.status != 0 or solved.x is None:
            raise RuntimeError(f"the linear program was not solved: {solved.message}")
        margin = float(solved.x[-1])
        least = margin if least is None else least
        # A check with a non-zero dual value limits t; -1e-9 tells that from the solver's zero. If
        # none does, the bound AMPLE does, and all that wait are fixed there.
        pressing = [k for k in waiting if solved.ineqlin.marginals[k] < -1e-9]
        held.update(dict.fromkeys(pressing or waiting, margin - SLACK))
    return held, least or 0.0


def _least_change(
    rows: list[Floats], base: list[float], bounds: Bounds, held: Mapping[int, float]
) -> Floats:
    """Return the moves with the smallest sum of sizes that keep every margin where it is fixed."""
    from scipy.optimize import linprog

    count = len(bounds)
    # |move| is not linear: split it into up - down, both at least 0, and minimise their sum.
    matrix = [[*(-row), *row] for row in rows]
    limits = [base[k] - held[k] for k in range(len(rows))]
    up = [(max(low, 0.0), max(high, 0.0)) for low, high in bounds]
    parts = up + [(max(-high, 0.0), max(-low, 0.0)) for low, high in bounds]
    solved = linprog(np.ones(2 * count), A_ub=matrix, b_ub=limits, bounds=parts, method="highs")
    if solved.status != 0 or solved.x is None:
        raise RuntimeError(f"the linear program was not solved: {solved.message}")
    return np.asarray(solved.x[:count] - solved.x[count:])


def _free(stack: Stackup) -> list[_Free]:
    job, settled = stack.job, stack.heights.settled
    # The step is judged as if the planned stop were the pass one step above the lowest plane.
    now = stack.skim.planned_plane - stack.skim.lowest_plane
    free = []
    if not any(is_cut(stack, casting) for casting in stack.castings):
        free.append(_Free("groove.floor", job.groove.floor, 0.2, job.blank.thickness))
    if not {"deck", "deck-rough"} & settled.cut:
        free.append(_Free("deck.clean_up", job.deck.clean_up, 0.2, 2.0))
    if not stack.skim.recorded:
        free.append(_Free("skim.step", now, 0.1, job.skim.largest_step))
    if not settled.fill and not stack.skim.recorded:
        free.append(_Free("cast.pour_short", job.cast.pour_short, 0.1, 2.0))
    if job.insert and "inserts" not in settled.cut:
        recess = min(insert.recess for insert in job.insert)
        free.append(_Free("insert.recess", recess, 0.0, 2.0))
    if "dowels" not in settled.cut:
        free.append(
            _Free("dowel.stand", max(dowel.stand for dowel in job.dowel), 2.0, job.blank.thickness)
        )
    return free


EFFECTS: Mapping[str, Mapping[str, float]] = {
    "window": {"groove.floor": -1.0, "deck.clean_up": -1.0},
    "floor": {"groove.floor": 1.0},
    "shows": {"groove.floor": -1.0, "deck.clean_up": -1.0, "skim.step": -1.0},
    "clean-up": {"skim.step": 1.0},
    "fill": {"deck.clean_up": 1.0, "cast.pour_short": -1.0},
    "seat": {"insert.recess": 1.0},
    "wood-over-seat": {"insert.recess": -1.0},
    "barrel": {"insert.recess": -1.0},
    "dowels": {"dowel.stand": -1.0},
}
"""By how much the margin of a check grows for each mm of a free value (formulas:
docs/arithmetic.md).

A higher floor also loses less resin: `fill` grows by `depth_loss` for each mm of groove.floor.
"""

STOPPED: Mapping[str, Mapping[str, float]] = {
    **EFFECTS,
    "shows": {},
    "clean-up": {"deck.clean_up": -1.0},
    "fill": {},
}
"""The same once the skim has stopped: its plane no longer depends on deck.clean_up."""


def _margins(
    stack: Stackup, checks: Sequence[Check], names: Sequence[str]
) -> tuple[list[Floats], list[float]]:
    rows, base = [], []
    effects = STOPPED if stack.skim.recorded else EFFECTS
    for check in checks:
        effect = effects.get(check.id)
        if effect is None:
            continue
        if check.id == "fill" and effect:
            effect = {**effect, "groove.floor": depth_loss(stack.job.cast)}
        rows.append(np.array([effect.get(name, 0.0) for name in names]))
        base.append(check.worst - check.limit)
    if not stack.skim.recorded:
        for effect, margin in _beside(stack):
            rows.append(np.array([effect.get(name, 0.0) for name in names]))
            base.append(margin)
    return rows, base


def _beside(stack: Stackup) -> list[tuple[Mapping[str, float], float]]:
    """Return effects and margins (mm) of what the weakest check of an id does not tell before the
    skim has stopped: the casting that holds in B, and each blind bore."""
    skim, heights = stack.skim, stack.heights
    in_b, _ = holds_at(stack, skim.judged_plane)
    less = {"groove.floor": depth_loss(stack.job.cast), "cast.pour_short": -1.0}
    found: list[tuple[Mapping[str, float], float]] = [
        ({"deck.clean_up": 1.0, **less}, in_b.worst - in_b.limit)
    ]
    # A blind bore ends as far past the deck as its errors ask for, but stays CLOSED above the bed:
    # where the planned stop is too low for both, the deck pass may not open it.
    for place in stack.places:
        if not place.place.insert.through:
            deepest = heights.bore(skim.planned_plane - CLOSED, place.place.id)
            past = deepest - heights.finished(place.highest_over_bore, skim.planned_plane, place.at)
            found.append(({"deck.clean_up": 1.0, "skim.step": 1.0}, past.worst()[0]))
    return found
