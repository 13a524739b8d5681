"""Everything that depends on the pass at which the skim stops, judged for each possible stop.

A *stop* is a pass after which all castings may show, from the earliest to the last. Each question
(fill of one casting, seats, clean-up, height of the rim) is a check as a function of the plane; the
table has one row a question and one column a stop. Whether a casting shows is decided by eye at the
machine: those rows say how likely it is, and do not enter a stop's verdict.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from corepath.lengths import Said, mm, said_all
from corepath.reported import Key, report_keys
from corepath.stackup.checks.depth_checks import (
    clean_up_at,
    fill_at,
    fill_room,
    hold_at,
    inserts_at,
    shows_at,
)
from corepath.stackup.checks.judge import weakest
from corepath.stackup.checks.verdict import Check, Verdict
from corepath.stackup.pour.pour import CastingPour, Shows, StopLimit
from corepath.stackup.skim import TIE, SkimPlan
from corepath.stackup.stacks import CastingStack
from corepath.stackup.stackup import Stackup

__all__ = [
    "Question", "Stop", "StopRow", "StopTable", "possible_stops", "pours", "stop_limits",
    "stop_table", "table_of",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stop:
    """A pass after which the skim may stop: its number from 1, its plane (mm above the bed in B)
    and whether all castings show by then."""

    number: int
    plane: float
    shows: Shows
    planned: bool = False


@dataclass(frozen=True, slots=True)
class Question:
    """A question asked of each stop: `name` as printed; `check` judges it for a plane, mm.

    With `word` it is decided by eye at the machine: the table prints that word for the plane, and
    the answer does not count in the verdict of a stop.
    """

    name: str
    check: Callable[[float], Check]
    word: Callable[[float], str] | None = None


@report_keys("name", "by_eye", Key("at", "answers"))
@dataclass(frozen=True, slots=True)
class StopRow:
    """One question and its answers, one for each stop of the table; `cells` are the answers as
    text."""

    name: str
    checks: tuple[Check, ...]
    cells: tuple[str, ...]
    by_eye: bool = False

    def answers(self) -> list[dict[str, Any]]:
        """Return the checks for the report, one dict for each stop."""
        keys = ("id", "where", "value", "worst", "rss", "limit", "verdict")
        return [{key: getattr(check, key) for key in keys} for check in self.checks]


@report_keys(Key("stops", "judged"), "rows")
@dataclass(frozen=True, slots=True)
class StopTable:
    """Rows of questions, columns of stops in the order cut."""

    stops: tuple[Stop, ...]
    rows: tuple[StopRow, ...]

    def verdict(self, number: int) -> Verdict:
        """Return the gravest verdict of the stop with this pass number. Raises ValueError for a
        number that is no stop of the table."""
        column = [stop.number for stop in self.stops].index(number)
        return weakest(row.checks[column] for row in self.rows if not row.by_eye).verdict

    @property
    def good(self) -> tuple[int, ...]:
        """Numbers of the passes after which the skim may stop once all is seen to show: every other
        row holds in the worst case."""
        return tuple(stop.number for stop in self.stops if self.verdict(stop.number) == "ok")

    def header(self) -> tuple[str, ...]:
        """Return the first line as text: the height of each stop, as `12.40`, the planned one
        with *."""
        marks = ("*" if stop.planned else "" for stop in self.stops)
        names = (
            f"{mm(stop.plane):.2f}{mark}" for stop, mark in zip(self.stops, marks, strict=True)
        )
        return said_all(("", *names))

    def lines(self) -> tuple[tuple[str, ...], ...]:
        """Return the other lines as text: worst case less limit and the verdict, or the word."""
        return tuple((row.name, *row.cells) for row in self.rows)

    def judged(self) -> list[dict[str, Any]]:
        """Return the stops with their verdicts, for the report."""
        return [
            {"pass": stop.number, "plane": stop.plane, "shows": stop.shows, "planned": stop.planned,
             "verdict": self.verdict(stop.number)}
            for stop in self.stops
        ]  # fmt: skip


def _cell(check: Check) -> str:
    room = check.worst - check.limit
    # What rounds to zero is printed as 0.00, never as -0.00.
    return Said(f"{mm(room if abs(room) >= 0.005 else 0.0):.2f} {check.verdict}")


def table_of(stops: Sequence[Stop], questions: Iterable[Question]) -> StopTable:
    """Ask every question of every stop and return the table."""
    return StopTable(tuple(stops), tuple(_row(stops, asked) for asked in questions))


def _row(stops: Sequence[Stop], asked: Question) -> StopRow:
    checks = tuple(asked.check(stop.plane) for stop in stops)
    if asked.word is None:
        return StopRow(asked.name, checks, tuple(_cell(check) for check in checks))
    return StopRow(asked.name, checks, tuple(asked.word(stop.plane) for stop in stops), by_eye=True)


def possible_stops(skim: SkimPlan) -> tuple[Stop, ...]:
    """Return the passes after which all castings may show, and all from the planned (or recorded)
    stop on."""
    first = min(skim.earliest or skim.planned_stop, skim.planned_stop)
    return tuple(
        Stop(number, plane, _shows(skim, number), number == skim.planned_stop)
        for number, plane in enumerate(skim.planes, start=1)
        if number >= first
    )


def _shows(skim: SkimPlan, number: int) -> Shows:
    ranks: tuple[tuple[Shows, int | None], ...] = (
        ("surely", skim.latest),
        ("likely", skim.likely),
        ("perhaps", skim.earliest),
    )
    return next((word for word, by in ranks if by is not None and number >= by), "no")


def _asked(stack: Stackup) -> tuple[Stop, ...]:
    """Return the stops that are still open: the recorded one alone once something rests on it."""
    # A thickness measured after the skim, and seats in its face, are those of one plane. Judged at
    # another they would be taken for what that one leaves.
    stops, settled = possible_stops(stack.skim), stack.heights.settled
    if stack.skim.recorded and (settled.thickness_after or "inserts" in settled.cut):
        return tuple(stop for stop in stops if stop.planned)
    return stops


def stop_limits(stack: Stackup, casting: CastingStack) -> tuple[StopLimit, ...]:
    """Return for each possible stop how low the resin of one casting may lie below the raw top:
    s - gB + gC - h - fill_margin."""
    return tuple(
        StopLimit(stop.number, stop.plane, fill_room(stack, casting, stop.plane), stop.shows)
        for stop in _asked(stack)
    )


def pours(stack: Stackup) -> tuple[CastingPour, ...]:
    """Return the pour of each casting with the limits of each possible stop filled in."""
    return tuple(
        replace(casting.pour, stops=stop_limits(stack, casting)) for casting in stack.castings
    )


def stop_table(stack: Stackup) -> StopTable:
    """Work out the table of a stack-up: showing and fill of each casting, clean-up, rim, and seats
    where there are inserts."""
    questions = [_asks_shows(stack, casting) for casting in stack.castings]
    questions += [
        Question(f"fill {casting.casting.id}", partial(fill_at, stack, casting))
        for casting in stack.castings
    ]
    questions += [
        Question("clean-up", partial(clean_up_at, stack)),
        Question("rim", partial(hold_at, stack)),
    ]
    if stack.places:
        questions.append(Question("seats", lambda plane: weakest(inserts_at(stack, plane))))
    return table_of(_asked(stack), questions)


def _asks_shows(stack: Stackup, casting: CastingStack) -> Question:
    check = partial(shows_at, stack, casting)

    def word(plane: float) -> str:
        judged = check(plane)
        high = casting.shows_at(stack.heights, casting.shallowest_at) - stack.heights.plane(plane)
        ranks: tuple[tuple[Shows, float], ...] = (
            ("surely", judged.worst),
            ("likely", judged.value),
            ("perhaps", high.worst()[1]),
        )
        return next((word for word, left in ranks if left >= -TIE), "no")

    return Question(f"shows {casting.casting.id}", check, word)
