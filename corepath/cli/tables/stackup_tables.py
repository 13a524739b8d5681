"""Tables and lines about the stack-up: largest contributors, what each pass shows, margins at each
stop, advice."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import WIDTH, new_table, rendered
from corepath.lengths import MM, Units, either, marked, mm

if TYPE_CHECKING:  # loaded by the commands that have such tables to print
    from corepath.planning.questions import PourSheet
    from corepath.stackup.checks.verdict import Check
    from corepath.stackup.core_weight import CoreWeight
    from corepath.stackup.pass_shows import PassShows
    from corepath.stackup.stop_table import StopTable
    from corepath.work.lay_ready import Ready

__all__ = [
    "advice_lines",
    "contributor_table",
    "pass_table",
    "pour_lines",
    "ready_lines",
    "stop_lines",
]


def contributor_table(checks: Sequence[Check], units: Units = MM) -> str:
    """Return a table with value, RSS and worst case of each check that has errors, and its largest
    contributors."""
    table = new_table(units)
    table.heads(f"check, {units.short}", no_wrap=True)
    for name in ("value", "rss", "worst"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("largest contributors", overflow="fold")
    for check in checks:
        if check.largest:
            costs = ", ".join(f"{name} {mm(cost):.2f}" for name, cost in check.largest)
            table.row(
                check.id,
                *(f"{mm(figure):.2f}" for figure in (check.value, check.rss, check.worst)),
                costs,
            )
    return rendered(table) if table.row_count else ""


def pass_table(passes: Sequence[PassShows], units: Units = MM) -> str:
    """Return a table with the share of each casting that shows after each pass: nominal, with worst
    and best case where they differ."""
    table = new_table(units)
    table.heads(f"pass at, {units.short}", justify="right", no_wrap=True)
    table.add_column("file", justify="right")
    names = list(passes[0].shares) if passes else []
    for name in names:
        table.add_column(f"{name} shows", overflow="fold")
    for entry in passes:
        table.row(
            f"{mm(entry.plane):.2f}",
            f"pass-{entry.number}",
            *(_share(entry.shares[name]) for name in names),
        )
    return rendered(table)


def _share(shares: tuple[float, float, float]) -> str:
    worst, nominal, best = (f"{100 * share:.0f}" for share in shares)
    return f"{nominal} %" if worst == best else f"{nominal} % ({worst}-{best})"


def stop_lines(stops: StopTable, units: Units = MM) -> str:
    """Return a table of the worst-case margins at each possible stop of the skim; * is the planned
    one."""
    table = new_table(units)
    for k, title in enumerate(stops.header()):
        words = title or f"if the skim stops at, {units.short}"
        table.heads(words, justify="right" if k else "left", overflow="fold")
    for line in stops.lines():
        table.row(*line)
    return rendered(table)


def pour_lines(sheet: PourSheet, units: Units = MM) -> str:
    """Return what to mix for each casting, how low its resin is expected and may be, how level the
    blank must lie, and cautions."""
    table = new_table(units)
    for k, title in enumerate(sheet.header):
        table.heads(title, justify="right" if k else "left", no_wrap=True)
    for row in sheet.rows:
        table.row(*row)
    said = [
        *(f"- {marked(note)}" for note in sheet.notes),
        *(f"! {marked(caution)}" for caution in sheet.cautions),
    ]
    words = "the pour: full = flush full; low = p expected, may = p at the lowest pass"
    words += either("", "; in, resin in cm³ and g")
    lines = (textwrap.fill(units.text(line), WIDTH, subsequent_indent="  ") for line in said)
    return "\n".join([rendered(table), textwrap.fill(units.text(words), WIDTH), *lines])


def ready_lines(weight: CoreWeight, ready: Iterable[Ready], units: Units = MM) -> str:
    """Return what to lay ready for one core, what it will weigh and where it balances."""
    table = new_table(units)
    table.heads(f"lay ready, {units.short}", no_wrap=True)
    table.add_column("", justify="right", no_wrap=True)
    table.add_column("", overflow="fold")
    for one in ready:
        table.row(one.what, str(one.count), one.message)
    said = (f"The core: {weight.message()}.", f"It balances {marked(weight.balances())}.")
    lines = (textwrap.fill(units.text(line), WIDTH, subsequent_indent="  ") for line in said)
    return "\n".join([rendered(table), *lines])


def advice_lines(
    cautions: Iterable[str], fills: Iterable[str], advice: Iterable[str], units: Units = MM
) -> str:
    """Return cautions about the blank, remarks on castings that are too low, and values that would
    pass."""
    lines = (
        [f"caution: {marked(caution)}" for caution in cautions]
        + list(fills)
        + [f"- {marked(line)}" for line in advice]
    )
    return "\n".join(
        textwrap.fill(units.text(line), WIDTH, subsequent_indent="  ") for line in lines
    )
