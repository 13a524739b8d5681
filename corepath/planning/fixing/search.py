"""Search for the smallest changes after which a job's checks hold, the cheapest kinds first.

Each *way* names the levers that it may move and what each mm of them weighs. The rows of the job as
it was last tried propose values (solving.py), which are tried in turn; what then still fails
corrects the rows. Only what was tried and holds is a fix. In the end each value of a fix is taken
out once: what holds without it loses it, and else the checks are named that need it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from corepath.kept import Kept
from corepath.lengths import marked, units_of
from corepath.planning.fixing.changed_values import other_core, value_of
from corepath.planning.fixing.held import Held, cautions, failed, shown
from corepath.planning.fixing.levers import LEAST_CLEAN_UP, Lever, LeverKind, levers_of
from corepath.planning.fixing.pruning import pruned
from corepath.planning.fixing.risks import lowers_a_limit, risks_of
from corepath.planning.fixing.rows import (
    Goal,
    Row,
    Weakest,
    beyond,
    rise_needed,
    rows_of,
    weakest_of,
)
from corepath.planning.fixing.solving import Moves, Problem, softened, solve, typed_up
from corepath.planning.fixing.surer import can_be_measured, read_closely, tight_tolerances
from corepath.planning.fixing.trials import Spent, Trials
from corepath.planning.prepare import Prepared
from corepath.stackup import Check
from corepath.stackup.advice.fix import NO_FIXES, Fix, Fixes, Miss, Setting, Value
from corepath.stackup.odds.odds import draw_odds
from corepath.stackup.skim import TIE

__all__ = ["find_fixes"]

_ROUNDS = 3
"""How often what was tried corrects what is proposed."""

_SET_UP = {"pour_short": 1.0, "stand": 1.0, "step": 0.5}
_DESIGN = {**_SET_UP, "floor": 2.0, "recess": 2.0}
_RISKY = {"least_height": 20.0, "least_floor": 20.0}
_SHAPE = {**_SET_UP, "recess": 2.0, "floor": 5.0, "edge": 5.0}


@dataclass(frozen=True, slots=True)
class _Way:
    """Levers that may be moved, by name (`stand` means those of all dowels), each with what a mm
    of it weighs. `raw_top`: without any clean-up; `measured`: with the blank measured; `sure`:
    with these tolerances, by key."""

    weights: Mapping[str, float]
    raw_top: bool = False
    measured: bool = False
    sure: Mapping[str, Value] = field(default_factory=dict)


_KEPT = (
    _Way(_SET_UP),
    _Way(_DESIGN),
    _Way({**_DESIGN, "clean_up": 4.0}),
    _Way({**_DESIGN, "clean_up": 4.0, "edge": 5.0}),
)
"""Ways that keep all limits."""

_LOWERED = (
    _Way({**_SET_UP, **_RISKY}),
    _Way({**_DESIGN, **_RISKY}),
    _Way({**_DESIGN, **_RISKY, "clean_up": 4.0}),
    _Way({**_DESIGN, **_RISKY}, raw_top=True),
)
"""Ways that may lower the limits which a builder may lower, each a risk."""

_ALONE = (_Way({}),)
"""The way that moves no lever."""

_OTHER_STOCK = (_Way({**_SHAPE, "core": 1.0}), _Way({**_SHAPE, "blank": 1.0}))
_ANYTHING = {**_DESIGN, **_RISKY, "clean_up": 40.0}
_BARE = {**_DESIGN, **_RISKY}
_NEAREST = (
    (_Way({**_ANYTHING, "core": 100.0}), _Way({**_BARE, "core": 100.0}, raw_top=True)),
    (_Way({**_ANYTHING, "blank": 100.0}), _Way({**_BARE, "blank": 100.0}, raw_top=True)),
)
"""Ways to the nearest core, and to the nearest blank, that will do."""

_BOTH = _Way({**_ANYTHING, "core": 100.0, "blank": 100.0})


def find_fixes(prepared: Prepared, kept: Kept | None = None) -> Fixes:
    """Returns fixes of a job, each tried, the cheapest kind first; none where every check holds, or
    only such do not as no lever moves. `kept` holds parts of boards made before."""
    fixed = beyond(prepared)
    if all(check in fixed for check in prepared.checks if check.verdict != "ok"):
        return NO_FIXES
    return _Search(prepared, kept).found()


class _Search:
    """One search: what it tried, and what of it held."""

    def __init__(self, start: Prepared, kept: Kept | None) -> None:
        self._start = start
        self._units = units_of(start.job.units)
        self._trials = Trials(start, kept)
        self._levers = levers_of(start)
        self._held: list[Held] = []
        # by the identity of the job, which is held so that no other can have it
        self._weakest: dict[int, tuple[Prepared, Weakest]] = {}
        # what fails and no lever moves: ids
        self._stuck = {check.id for check in beyond(start) if check.verdict == "fail"}
        self._nearest: tuple[Mapping[str, Value], Prepared] = ({}, start)

    def found(self) -> Fixes:
        """Returns all that was found, in the order in which it is shown."""
        complete = True
        try:
            self._look()
            self._held = [pruned(held, self._trials, self._kind) for held in shown(self._held)]
        except Spent:
            complete = False
        fixes = tuple(self._fix(held) for held in shown(self._held))
        # what holds with care may be cut as it is
        nearest = self._miss() if failed(self._start) and not fixes else None
        return Fixes(fixes, nearest, self._trials.count, complete)

    def _look(self) -> None:
        if not failed(self._start):
            # a caution is no reason to lower a limit, or to look for other wood
            self._first(self._surer(_ALONE), Goal.ALL)
            self._first(_KEPT, Goal.ALL)
            return
        self._first(self._surer(_ALONE), Goal.ALL, Goal.HELD)
        if not self._keeping_what_is_asked():
            for ways in _NEAREST:
                self._first(ways, Goal.CARE)
            if not self._held:
                self._try(_BOTH, Goal.CARE)
        elif self._held and all(cautions(held.made) for held in self._held):
            self._first((*_KEPT, *_LOWERED), Goal.ALL)
        if not self._stuck and all(
            cautions(held.made) or lowers_a_limit(held.values) for held in self._held
        ):
            for way in _OTHER_STOCK:
                self._try(way, Goal.ALL)
        if not self._held:
            self._try(_Way(_ANYTHING), Goal.HELD, soft=True)

    def _keeping_what_is_asked(self) -> bool:
        """Try to keep core and blank; returns whether some way led to a fix. Where all limits
        cannot be kept, a blank known better may do, and so may lower limits."""
        goals = Goal.CARE, Goal.HELD
        if self._first(_KEPT, *goals):
            return True
        surer = self._first(self._surer(_KEPT), *goals)
        return self._first(_LOWERED, *goals) or surer

    def _surer(self, ways: Iterable[_Way]) -> Iterator[_Way]:
        """Yields ways with the blank measured, as well as the job has it and more closely, and with
        facing and touching better."""
        closely, tight = read_closely(self._start), tight_tolerances(self._start)
        for way in ways:
            if can_be_measured(self._start):
                yield replace(way, measured=True)
                if closely:
                    yield replace(way, measured=True, sure=closely)
            if tight:
                yield replace(way, sure=tight)

    def _first(self, ways: Iterable[_Way], *goals: Goal) -> bool:
        """Try ways, each with the goals in turn, until one leads to a fix; returns whether one
        did."""
        return any(self._try(way, goal) for way in ways for goal in goals)

    def _try(self, way: _Way, goal: Goal, soft: bool = False) -> bool:
        """Try one way; returns whether it led to a fix, or as near to one as any will. `soft`: as
        near as it comes."""
        levers, weights = self._free(way)
        base: dict[str, Value] = dict(way.sure)
        if way.raw_top and "clean_up" in self._levers and self._start.job.deck.clean_up > 0.0:
            base["deck.clean_up"] = 0.0
        values, moved = base, dict[str, float]()
        made = self._trials.of(base, way.measured)
        for _ in range(_ROUNDS if levers else 0):
            if made is None or ((values or way.measured) and self._good(made, goal)):
                break
            proposed = self._proposed(made, moved, levers, weights, goal, soft)
            if proposed is None:
                return False
            moved, step = proposed
            base.update(self._bored_through(made, way, goal))
            before, values = values, {**base, **self._values(moved, step)}
            if values == before:  # what was tried tells nothing more
                break
            made = self._trials.of(values, way.measured)
        if made is None or not (values or way.measured):
            return False
        return self._keep(Held(values, made, self._kind(values), way.measured), goal)

    def _free(self, way: _Way) -> tuple[dict[str, Lever], dict[str, float]]:
        """Returns the levers that a way may move, and their weights, by name."""
        levers, weights = {}, {}
        for name, lever in self._levers.items():
            weight = way.weights.get(name.split()[0])
            if weight is None or name == "step":
                continue
            if name == "clean_up":
                # less is no clean-up, which only a way without any may choose
                (_, now), *_ = lever.now
                lever = replace(lever, low=min(0.0, max(lever.low, LEAST_CLEAN_UP - now)))
            levers[name], weights[name] = lever, weight
        return levers, weights

    def _bored_through(self, made: Prepared, way: _Way, goal: Goal) -> Iterator[tuple[str, Value]]:
        """Yields what makes blind bores through where the deck pass would not open one."""
        if "recess" not in way.weights or "inserts" in self._start.known.settled.cut:
            return
        if any(check.id == "opens" and not _holds(check, goal) for check in made.checks):
            tables = enumerate(self._start.job.insert, 1)
            yield from ((f"insert[{k}].through", True) for k, one in tables if not one.through)

    def _proposed(
        self,
        made: Prepared,
        moved: Moves,
        levers: Mapping[str, Lever],
        weights: Mapping[str, float],
        goal: Goal,
        soft: bool,
    ) -> tuple[Moves, float | None] | None:
        """Returns the moves from the start that keep all rows, the fewest of those by each rise of
        the stop, and the step that it takes (None: the job's own)."""
        best: tuple[tuple[int, float], Moves, float | None] | None = None
        for up, step in self._rises(made, goal):
            found = rows_of(made, goal, up, self._weakest_of(made))
            # a margin without end, as of a clean-up that may be none, holds whatever is moved
            rows = tuple(_from_start(row, moved) for row in found if row.margin < math.inf)
            problem = Problem(rows, levers, weights, self._units)
            moves = solve(softened(problem) if soft else problem)
            if moves is None:
                continue
            weight = sum(weights[name] * abs(move) for name, move in moves.items())
            rank = len(moves) + (step is not None), round(weight, 6)
            if best is None or rank < best[0]:
                best = rank, moves, step
        return None if best is None else best[1:]

    def _weakest_of(self, made: Prepared) -> Weakest:
        """Returns what the rows of a job start from, which all ways, goals and rises ask for."""
        if id(made) not in self._weakest:
            self._weakest[id(made)] = made, weakest_of(made)
        return self._weakest[id(made)][1]

    def _rises(self, made: Prepared, goal: Goal) -> Iterator[tuple[float | None, float | None]]:
        """Yields how far over the lowest plane the skim may be made to stop, and by which step."""
        need, own = rise_needed(made, goal), self._start.job.skim.step
        if goal is not Goal.ALL or need is None:
            yield None, None
        if need is None or not math.isfinite(need):
            return
        need = max(need, 0.0)
        yield own * math.ceil((need - TIE) / own), None
        lever = self._levers.get("step")
        if lever is not None:
            finer = typed_up(max(need, own + lever.low), self._units)
            yield from ((step, step) for step in finer if step < own - TIE)

    def _values(self, moved: Moves, step: float | None) -> dict[str, Value]:
        values: dict[str, Value] = {}
        for name, move in moved.items():
            typed = self._levers[name].at(move)
            if name == "core":
                typed = other_core(self._start.job, self._typed(typed["board.thickness"]))
            values.update({key: self._typed(value) for key, value in typed.items()})
        if step is not None:
            values["skim.step"] = step
        return values

    def _typed(self, value: float) -> float:
        """Returns a length, mm, as it is read again where it was typed in the job's units."""
        return round(self._units.scaled(value), 5) * self._units.scale

    def _good(self, made: Prepared, goal: Goal) -> bool:
        if goal is not Goal.ALL:
            return not failed(made)
        fixed = beyond(made)
        good = all(check.verdict == "ok" or check in fixed for check in made.checks)
        return good and not failed(made)

    def _keep(self, held: Held, goal: Goal) -> bool:
        """Keep what was tried, as a fix where it is good, else where it comes nearest."""
        made = held.made
        if not self._good(made, goal):
            if not held.measured and _short(made) < _short(self._nearest[1]):
                self._nearest = held.values, made
            left = {check.id for check in made.checks if check.verdict == "fail"}
            return bool(self._stuck) and left <= self._stuck
        tried = held.values, held.measured
        if all((dict(one.values), one.measured) != tried for one in self._held):
            self._held.append(held)
        return True

    def _kind(self, values: Iterable[str]) -> LeverKind:
        """Returns the dearest kind of some keys."""
        return max(map(self._kind_of, values), default=LeverKind.MEASURE)

    def _kind_of(self, key: str) -> LeverKind:
        if key.startswith("tolerances."):
            return LeverKind.MEASURE if key == "tolerances.thickness" else LeverKind.TOUCH
        if key.startswith("deck.stations"):
            return LeverKind.CORE
        kinds = [
            lever.kind for lever in self._levers.values() if key in (one for one, _ in lever.now)
        ]
        return max(kinds, default=LeverKind.DESIGN)

    def _fix(self, held: Held) -> Fix:
        return Fix(
            settings=self._settings(held.values, held.needed_by),
            odds=draw_odds(held.made.stackup, held.made.board),
            cautions=cautions(held.made),
            risks=risks_of(held.values, held.made),
            measure=self._trials.places if held.measured else 0,
            gains=held.gains,
        )

    def _settings(
        self, values: Mapping[str, Value], needed_by: Mapping[str, tuple[str, ...]] | None = None
    ) -> tuple[Setting, ...]:
        job, needed = self._start.resolved, needed_by or {}
        return tuple(
            Setting(key, value_of(job, key), after, needed.get(key, ()))
            for key, after in values.items()
        )

    def _miss(self) -> Miss:
        values, made = self._nearest
        fails = [check for check in made.checks if check.verdict == "fail"]
        ids = tuple(dict.fromkeys(check.id for check in fails))
        first = fails[0]
        fix = f"; {marked(first.fix)}" if first.fix else ""
        return Miss(
            self._settings(values),
            ids,
            f"{first.id} still fails, {marked(first.message)}{fix}",
        )


def _holds(check: Check, goal: Goal) -> bool:
    return check.verdict == "ok" or (goal is not Goal.ALL and check.verdict == "caution")


def _short(made: Prepared) -> tuple[int, float]:
    """Returns how far a job is from one that plans: how many checks fail, and by how much."""
    fails = [check for check in made.checks if check.verdict == "fail"]
    return len({check.id for check in fails}), sum(check.limit - check.worst for check in fails)


def _from_start(row: Row, moved: Moves) -> Row:
    """Returns a row as it was before the moves."""
    gone = sum(row.slopes.get(name, 0.0) * move for name, move in moved.items())
    return replace(row, margin=row.margin - gone)
