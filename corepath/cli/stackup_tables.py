"""Tables and lines about the stack-up: what costs most, what each pass shows, what each stop allows, advice."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from rich.text import Text

from corepath.cli.tables import WIDTH, new_table, rendered

__all__ = ["advice_lines", "contributor_table", "pass_table", "pour_lines", "stop_lines", "suggestion_lines"]


class Contributed(Protocol):
    """What is printed of a check's contributors."""

    @property
    def id(self) -> str: ...
    @property
    def where(self) -> str: ...
    @property
    def value(self) -> float: ...
    @property
    def worst(self) -> float: ...
    @property
    def rss(self) -> float: ...
    @property
    def largest(self) -> Sequence[tuple[str, float]]: ...


class Shown(Protocol):
    """What is printed of a pass."""

    @property
    def number(self) -> int: ...
    @property
    def plane(self) -> float: ...
    @property
    def shares(self) -> Mapping[str, tuple[float, float, float]]: ...


class Stops(Protocol):
    """What is printed of the table of stops."""

    def header(self) -> tuple[str, ...]: ...
    def lines(self) -> tuple[tuple[str, ...], ...]: ...


class Poured(Protocol):
    """What is printed of the pour."""

    @property
    def header(self) -> Sequence[str]: ...
    @property
    def rows(self) -> Sequence[Sequence[str]]: ...
    @property
    def notes(self) -> Sequence[str]: ...
    @property
    def cautions(self) -> Sequence[str]: ...


class Suggested(Protocol):
    """What is printed of a suggestion."""

    @property
    def values(self) -> Mapping[str, float]: ...
    @property
    def least_margin(self) -> float: ...
    @property
    def passes(self) -> bool: ...


def contributor_table(checks: Sequence[Contributed]) -> str:
    """Value, worst and RSS of each check that has errors, and the three contributors that cost it most."""
    table = new_table()
    table.add_column("check", no_wrap=True)
    for name in ("value", "rss", "worst"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("what costs most, and how much", overflow="fold")
    for check in checks:
        if check.largest:
            costs = ", ".join(f"{name} {cost:.2f}" for name, cost in check.largest)
            table.add_row(check.id, *(f"{figure:.2f}" for figure in (check.value, check.rss, check.worst)), Text(costs))
    return rendered(table) if table.row_count else ""


def pass_table(passes: Sequence[Shown]) -> str:
    """Share of each casting that shows after each pass: nominal, with worst and best case where they differ."""
    table = new_table()
    table.add_column("pass at", justify="right", no_wrap=True)
    table.add_column("file", justify="right")
    names = list(passes[0].shares) if passes else []
    for name in names:
        table.add_column(f"{name} shows", overflow="fold")
    for entry in passes:
        table.add_row(f"{entry.plane:.2f}", f"pass-{entry.number}", *(_share(entry.shares[name]) for name in names))
    return rendered(table)


def _share(shares: tuple[float, float, float]) -> str:
    worst, nominal, best = (f"{100 * share:.0f}" for share in shares)
    return f"{nominal} %" if worst == best else f"{nominal} % ({worst}-{best})"


def stop_lines(stops: Stops) -> str:
    """What each possible stop of the skim leaves to spare in the worst case; * is the planned one."""
    table = new_table()
    for k, title in enumerate(stops.header()):
        table.add_column(title or "if the skim stops at", justify="right" if k else "left", overflow="fold")
    for line in stops.lines():
        table.add_row(*line)
    return rendered(table)


def pour_lines(sheet: Poured) -> str:
    """What to mix for each casting, how low it comes and may come, how level to lie, and cautions."""
    table = new_table()
    for k, title in enumerate(sheet.header):
        table.add_column(title, justify="right" if k else "left", no_wrap=True)
    for row in sheet.rows:
        table.add_row(*row)
    said = [*(f"- {note}" for note in sheet.notes), *(f"! {caution}" for caution in sheet.cautions)]
    words = "the pour: full = flush full; low = p expected, may = p at the lowest plane"
    return "\n".join([rendered(table), words, *(textwrap.fill(line, WIDTH, subsequent_indent="  ") for line in said)])


def advice_lines(cautions: Iterable[str], fills: Iterable[str], advice: Iterable[str]) -> str:
    """Cautions about the blank, castings that came out low, and the numbers that would pass."""
    lines = [f"caution: {caution}" for caution in cautions] + list(fills) + [f"- {line}" for line in advice]
    return "\n".join(textwrap.fill(line, WIDTH, subsequent_indent="  ") for line in lines)


def suggestion_lines(suggested: Suggested, units: str) -> str:
    """The values as they go into a job file in these units; none where everything they would change is cut."""
    if not suggested.values:
        return f"Nothing is left to choose; the least margin beyond the worst case is {suggested.least_margin:.2f}."
    if suggested.passes:
        words = f"These values pass; the least margin beyond the worst case is {suggested.least_margin:.2f}:"
    else:
        words = f"No values pass in the worst case; these come nearest, {-suggested.least_margin:.2f} short:"
    return "\n".join([words, *(f"  {key} = {_typed(value, units)}" for key, value in suggested.values.items())])


def _typed(value: float, units: str) -> str:
    """A length in mm as it is typed into a job; in inches fine enough to round nothing away."""
    return f"{value:g}" if units == "mm" else f"{value / 25.4:.5f}".rstrip("0")
