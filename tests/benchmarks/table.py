"""Rows of the benchmark table: our figure, what it is held against, the limit, and how near to it
we are.

A row is judged by one number alone, its `value`: our own figure, the ratio of ours over the
baseline's, or the exponent of growth (1 is linear, 0 does not grow). The limit is the most that it
may be, or the least with `least`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from rich.box import SIMPLE_HEAD
from rich.table import Table

from tests.benchmarks.timing import Timed

__all__ = ["NEAR", "Figure", "Row", "as_table", "exponent"]

NEAR = 0.15
"""A value that is nearer to its limit than this share of the limit is told as near."""

Verdict = Literal["ok", "NEAR", "OVER", "-"]

_UNITS = ((1.0, "s"), (1e-3, "ms"), (1e-6, "us"))


def exponent(sizes: Sequence[float], spent: Sequence[float]) -> float:
    """The k of the power law spent = c · size^k that fits best (least squares of the
    logarithms)."""
    x = [math.log(size) for size in sizes]
    y = [math.log(value) for value in spent]
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    over = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
    return over / sum((a - mean_x) ** 2 for a in x)


@dataclass(frozen=True, slots=True)
class Figure:
    """The best of several runs with its unit; `spread` is worst over best, `runs` how many there
    were."""

    best: float
    unit: str
    spread: float = 1.0
    runs: int = 1

    @staticmethod
    def of(timed: Timed) -> Figure:
        """Seconds, of runs."""
        return Figure(timed.best, "s", timed.spread, len(timed.runs))

    @staticmethod
    def rate(count: int, unit: str, timed: Timed) -> Figure:
        """So many a second, of runs that took `timed` for `count`."""
        return Figure(count / timed.best, unit, timed.spread, len(timed.runs))

    def message(self) -> str:
        """Number and unit; seconds in the unit that suits them."""
        if self.unit != "s":
            return (
                f"{self.best:,.0f} {self.unit}"
                if self.best >= 100
                else f"{self.best:.3g} {self.unit}"
            )
        size, unit = next((one for one in _UNITS if self.best >= one[0]), _UNITS[-1])
        return f"{self.best / size:.3g} {unit}"

    def says_spread(self) -> str:
        """Worst over best and the number of runs."""
        return f"x{self.spread:.2f} of {self.runs}" if self.runs > 1 else "one run"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table. `baseline` names what `theirs` belongs to; `note` says what else must
    be known.

    A row without a limit only tells a figure.
    """

    name: str
    ours: Figure
    limit: float | None = None
    baseline: str = ""
    theirs: Figure | None = None
    exponent: float | None = None
    least: bool = False
    note: str = ""

    @staticmethod
    def against(
        name: str, ours: Timed, baseline: str, theirs: Timed, limit: float | None, note: str = ""
    ) -> Row:
        """Our seconds over the seconds of a baseline."""
        return Row(name, Figure.of(ours), limit, baseline, Figure.of(theirs), note=note)

    @staticmethod
    def growing(
        name: str, what: str, spent: Sequence[tuple[float, Timed]], limit: float, note: str = ""
    ) -> Row:
        """How time grows with a size: `spent` are (size, runs), from the smallest to the largest
        size."""
        (few, short), (_, long) = spent[0], spent[-1]
        power = exponent([size for size, _ in spent], [timed.best for _, timed in spent])
        sizes = " ".join(f"{size:,g}" if size < 1e6 else f"{size:,.0f}" for size, _ in spent)
        baseline = f"{few:,g} {what}"
        told = f"{what}: {sizes}"
        return Row(
            name,
            Figure.of(long),
            limit,
            baseline,
            Figure.of(short),
            power,
            note=f"{told}; {note}" if note else told,
        )

    @property
    def ratio(self) -> float | None:
        """Ours over theirs."""
        return self.ours.best / self.theirs.best if self.theirs is not None else None

    @property
    def value(self) -> float:
        """What is held against the limit."""
        if self.exponent is not None:
            return self.exponent
        return self.ratio if self.ratio is not None else self.ours.best

    @property
    def verdict(self) -> Verdict:
        """`OVER` where the limit is not kept, `NEAR` within 15 % of it, `-` where there is none."""
        if self.limit is None:
            return "-"
        if self.value < self.limit if self.least else self.value > self.limit:
            return "OVER"
        return "NEAR" if abs(self.value - self.limit) < NEAR * self.limit else "ok"

    def cells(self) -> tuple[str, ...]:
        """The columns of the table."""
        theirs = (
            f"{self.baseline}: {self.theirs.message()}"
            if self.theirs is not None
            else self.baseline
        )
        return (
            self.verdict,
            self.name,
            self.ours.message(),
            self.ours.says_spread(),
            theirs,
            _number(self.ratio),
            f"{self.exponent:.2f}" if self.exponent is not None else "",
            _limit(self),
        )

    def line(self) -> str:
        """The row as one line of text, as it comes."""
        verdict, name, ours, spread, theirs, ratio, power, limit = self.cells()
        parts = [f"{verdict:5}{name}: {ours} ({spread})"]
        parts += [f"{ratio} x {theirs}"] if ratio else []
        parts += [f"exponent {power}"] if power else []
        parts += [f"limit {limit}"] if limit else []
        return "; ".join([*parts, *([self.note] if self.note else [])])

    def as_dict(self) -> dict[str, Any]:
        """Plain data, for `--json`."""

        def figure(one: Figure | None) -> dict[str, Any] | None:
            return (
                None
                if one is None
                else {name: getattr(one, name) for name in ("best", "unit", "spread", "runs")}
            )

        return {
            "name": self.name, "verdict": self.verdict, "ours": figure(self.ours),
            "baseline": self.baseline,
            "theirs": figure(self.theirs), "ratio": self.ratio, "exponent": self.exponent,
            "value": self.value,
            "limit": self.limit, "least": self.least, "note": self.note,
        }  # fmt: skip


def as_table(rows: Sequence[Row]) -> Table:
    """All rows, with the notes left out."""
    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in ("", "what", "ours, best", "spread", "against"):
        table.add_column(name, overflow="fold")
    for name in ("ratio", "exponent", "limit"):
        table.add_column(name, justify="right", no_wrap=True)
    for row in rows:
        table.add_row(*row.cells())
    return table


def _number(value: float | None) -> str:
    if value is None:
        return ""
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def _limit(row: Row) -> str:
    if row.limit is None:
        return ""
    what = (
        " (exponent)"
        if row.exponent is not None
        else " x"
        if row.theirs is not None
        else f" {row.ours.unit}"
    )
    limit = f"{row.limit:,.0f}" if row.limit >= 100 else f"{row.limit:.3g}"
    return f"{'>=' if row.least else '<='} {limit}{what}"
