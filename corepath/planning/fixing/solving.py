"""Find the fewest and smallest moves of levers that keep every row, by linear programming.

A move costs its length times the weight of its lever, and each value that changes costs as much
again as `_ONE_MORE`: a builder would rather change one value than three by less. Which levers move
is chosen with whole numbers, 0 or 1 for each (scipy's HiGHS). What moves is then rounded to lengths
that people type, and the others stay.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.lengths import Units
from corepath.planning.fixing.levers import Lever
from corepath.planning.fixing.rows import Row
from corepath.stackup.skim import TIE

__all__ = ["Moves", "Problem", "softened", "solve", "typed_up"]

Floats = NDArray[np.float64]
Moves = dict[str, float]
"""How far each lever is moved, mm; one that stays is left out."""

Bounds = list[tuple[float, float]]

_COARSE = {"mm": 0.05, "inch": 0.002}
_FINE = {"mm": 0.01, "inch": 0.0005}
"""What values are rounded to, in the job's units: first the step in which people think, and the
finer one where that does not do."""

_ONE_MORE = 1.0
"""What one more value to change weighs, as a move of 1 mm of a lever of weight 1."""

_HOLDS = 10.0
"""What a mm missing of a margin that held weighs more than one of a margin that did not."""

_NOISE = 1e-5
"""mm: a hundred times the solver's tolerance of 1e-7; a move smaller than this is none."""


@dataclass(frozen=True, slots=True)
class Problem:
    """Rows to be kept by levers, each with a weight by its name, and the units in which values are
    typed."""

    rows: tuple[Row, ...]
    levers: Mapping[str, Lever]
    weights: Mapping[str, float]
    units: Units

    @property
    def names(self) -> list[str]:
        return list(self.levers)

    @property
    def arrays(self) -> tuple[Floats, Floats]:
        """The slopes of the rows (rows, levers) and their margins."""
        names = self.names
        slopes = [[row.slopes.get(name, 0.0) for name in names] for row in self.rows]
        matrix = np.array(slopes).reshape(len(self.rows), len(names))
        return matrix, np.array([row.margin for row in self.rows])


def solve(problem: Problem) -> Moves | None:
    """Returns moves, rounded to what is typed, that keep all rows; None where there are none."""
    moves = _fewest(problem)
    if moves is None:
        return None
    still = {name: 0.0 for name, move in moves.items() if abs(move) <= _NOISE}
    rounded = _rounded(problem, moves, still)
    # where rounding asks for a hair that only another lever has
    return _rounded(problem, moves, {}) if rounded is None else rounded


def _rounded(problem: Problem, moves: Moves, fixed: Moves) -> Moves | None:
    """Returns moves rounded one after the other, those of `fixed` as they are; None where no
    rounding of one will do."""
    found: Moves | None = moves
    for name in problem.names:
        if found is not None and name not in fixed and abs(found[name]) > _NOISE:
            found = _with_rounded(problem, fixed, name, found[name])
    if found is None:
        return None
    return {name: move for name, move in found.items() if abs(move) > _NOISE}


def softened(problem: Problem) -> Problem:
    """Returns the problem with its rows relaxed by as little as lets them be kept: those that do
    not hold as it is before those that do."""
    from scipy.optimize import linprog

    matrix, margins = problem.arrays
    up, down = _all_bounds(problem, {})
    short = [(0.0, None)] * len(margins)
    weights = [0.0] * (2 * len(problem.names)) + [_HOLDS if one >= 0 else 1.0 for one in margins]
    relaxing = np.hstack([-matrix, matrix, -np.eye(len(margins))])
    solved = linprog(
        weights, A_ub=relaxing, b_ub=margins, bounds=[*up, *down, *short], method="highs"
    )
    if solved.status != 0 or solved.x is None:
        return problem
    # a hair more, so that the solver's own tolerance does not make them impossible again
    relaxed = [lack + _NOISE if lack > 0.0 else 0.0 for lack in solved.x[-len(margins) :]]
    rows = tuple(
        replace(row, margin=row.margin + lack)
        for row, lack in zip(problem.rows, relaxed, strict=True)
    )
    return replace(problem, rows=rows)


def _with_rounded(problem: Problem, fixed: Moves, name: str, move: float) -> Moves | None:
    """Returns moves in which one is rounded, and takes it into `fixed`; None where no rounding of
    it will do."""
    for rounded in _roundings(problem.levers[name], move, problem.units):
        moves = _least(problem, {**fixed, name: rounded})
        if moves is not None:
            fixed[name] = rounded
            return moves
    return None


def _roundings(lever: Lever, move: float, units: Units) -> Iterable[float]:
    """Yields the moves to try in the place of `move`: those that change more come first."""
    (_, now), *_ = lever.now
    for step in (_COARSE[units.name], _FINE[units.name]):
        count = units.scaled(now + move) / step
        # 1e-4 of a step: what lies on it already must not go on to the next
        ends = math.ceil(count - 1e-4), math.floor(count + 1e-4)
        for end in ends if move > 0.0 else ends[::-1]:
            value = round(end * step, 5) * units.scale
            yield min(max(value - now, lever.low), lever.high)


def typed_up(value: float, units: Units) -> tuple[float, ...]:
    """Returns a length, mm, rounded up to each of the steps in which values are typed."""
    grids = (_COARSE[units.name], _FINE[units.name])
    counts = (math.ceil(units.scaled(value) / grid - 1e-4) for grid in grids)
    typed = (
        round(count * grid, 5) * units.scale for count, grid in zip(counts, grids, strict=True)
    )
    return tuple(dict.fromkeys(typed))


def _fewest(problem: Problem) -> Moves | None:
    """Returns the moves of least cost that keep all rows, each value that changes counted."""
    (matrix, margins), count = problem.arrays, len(problem.names)
    up, down = _all_bounds(problem, {})
    if _out_of_reach(matrix, margins, up, down):
        return None
    from scipy.optimize import linprog

    weights = [problem.weights[name] for name in problem.names]
    # up <= most up * used and down <= most down * used: what is not used stays
    used = [
        np.hstack([np.eye(count), np.zeros((count, count)), -np.diag([high for _, high in up])]),
        np.hstack([np.zeros((count, count)), np.eye(count), -np.diag([high for _, high in down])]),
    ]
    kept = np.hstack([-matrix, matrix, np.zeros((len(margins), count))])
    solved = linprog(
        [*weights, *weights, *[_ONE_MORE] * count],
        A_ub=np.vstack([kept, *used]), b_ub=np.append(margins, np.zeros(2 * count)),
        bounds=[*up, *down, *[(0.0, 1.0)] * count],
        integrality=np.repeat([0, 0, 1], count), method="highs",
    )  # fmt: skip
    return _moves(problem, solved)


def _out_of_reach(matrix: Floats, margins: Floats, up: Bounds, down: Bounds) -> bool:
    """Returns whether some row cannot be kept even with every lever at the end that serves it best,
    by more than the solver's tolerance: then it need not be asked."""
    highest, lowest = np.array([one for _, one in up]), -np.array([one for _, one in down])
    best = np.maximum(matrix * highest, matrix * lowest).sum(axis=1)
    return bool((margins + best < -_NOISE).any())


def _least(problem: Problem, fixed: Mapping[str, float]) -> Moves | None:
    """Returns the moves of least weight that keep all rows, some of them `fixed`."""
    from scipy.optimize import linprog

    names, (matrix, margins) = problem.names, problem.arrays
    if all(name in fixed for name in names):
        moves = np.array([fixed[name] for name in names])
        kept = bool((margins + matrix @ moves >= -TIE).all())
        return dict(zip(names, moves.tolist(), strict=True)) if kept else None
    # |move| is not linear: it is split into up - down, both at least 0
    up, down = _all_bounds(problem, fixed)
    weights = [problem.weights[name] for name in names]
    solved = linprog(
        [*weights, *weights], A_ub=np.hstack([-matrix, matrix]), b_ub=margins,
        bounds=[*up, *down], method="highs",
    )  # fmt: skip
    return _moves(problem, solved)


def _moves(problem: Problem, solved: Any) -> Moves | None:
    """Returns the moves of scipy's answer, up less down; None where it found none."""
    if solved.status != 0 or solved.x is None:
        return None
    count = len(problem.names)
    moves = np.asarray(solved.x[:count] - solved.x[count : 2 * count])
    return dict(zip(problem.names, moves.tolist(), strict=True))


def _all_bounds(problem: Problem, fixed: Mapping[str, float]) -> tuple[Bounds, Bounds]:
    """Returns the bounds of the parts of each move: up, and down."""
    up, down = [], []
    for name in problem.names:
        lever = problem.levers[name]
        low, high = (fixed[name],) * 2 if name in fixed else (lever.low, lever.high)
        up.append((max(low, 0.0), max(high, 0.0)))
        down.append((max(-high, 0.0), max(-low, 0.0)))
    return up, down
