"""The verdict on a job as the first and the last thing that a terminal shows: at most 20 lines."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import WIDTH, figure_cell, new_table, rendered
from corepath.lengths import MM, Units, marked, unit_word

if TYPE_CHECKING:
    from corepath.stackup import Check
    from corepath.stackup.odds.odds import Odds
    from corepath.stackup.odds.outcome import Outcome

__all__ = ["answer_line", "tightest_table", "verdict_lines"]

_MOST_ANSWER = 2
_MOST_ODDS = 3
_MOST_FIX = 6
_MOST_CAUTION = 2
_MOST_SPOILERS = 3
_GAP = 2  # spaces between two columns
_EVEN = 0.01
"""Odds of evenly drawn errors are told where they differ by more than this."""


def verdict_lines(
    title: str, found: Outcome, cautions: Sequence[str] = (), units: Units = MM
) -> str:
    """Returns in at most 16 lines: whether the core comes out, how likely, the three tightest
    margins, the first fix and the first caution."""
    parts = [
        _clipped(f"{title}: {_answer(found)}", _MOST_ANSWER),
        _clipped(_odds(found), _MOST_ODDS),
    ]
    parts.append(tightest_table(found, units))
    if found.fix:
        parts.append(_clipped(units.text(f"Fix: {marked(found.fix)}"), _MOST_FIX))
    if cautions and not found.fix:
        more = f" ({len(cautions) - 1} more: --show heights)" if len(cautions) > 1 else ""
        parts.append(_clipped(units.text(f"caution: {marked(cautions[0])}"), _MOST_CAUTION) + more)
    return "\n".join(parts)


def answer_line(title: str, found: Outcome) -> str:
    """Returns answer and odds alone."""
    from corepath.stackup.odds.odds import odds_words

    return _clipped(
        f"{title}: {_answer(found)}. Comes out in {odds_words(found.odds.share)}.", _MOST_ANSWER + 1
    )


def _answer(found: Outcome) -> str:
    if found.answer == "accepted":
        return f"at a risk that the job accepts; these checks fail: {', '.join(found.failed)}"
    if found.answer == "no":
        return f"not as it is; these checks fail: {', '.join(found.failed)}"
    if found.answer == "with care":
        names = ", ".join(found.cautions)
        return f"with care; these checks hold only if not all errors add up: {names}"
    return "ready to cut; all checks hold with every error against you"


def _odds(found: Outcome) -> str:
    left_out = ", ".join(found.not_in_odds)
    return _odds_told(found.odds, found.before) + (
        f" Not in the odds: {left_out}." if left_out else ""
    )


def _odds_told(odds: Odds, before: float | None) -> str:
    """Returns how many of a hundred cores come out, how many before measuring, and what spoils the
    others."""
    from corepath.stackup.odds.odds import odds_words

    says = f"Comes out in {odds_words(odds.share)}"
    if before is not None and odds_words(before) != odds_words(odds.share):
        says += f"; before measuring {odds_words(before).removesuffix(' of 100')}"
    says += "."
    named = [
        f"{one.check}{f' {one.where}' if one.where else ''} {100.0 * one.share:.1f}"
        for one in odds.spoilers[:_MOST_SPOILERS]
        if one.share >= 0.0005
    ]
    if named:
        says += f" What spoils the others, of 100: {', '.join(named)}."
    if abs(odds.even - odds.share) > _EVEN:
        says += f" With evenly drawn errors: {odds_words(odds.even)}."
    if odds.raw_stays is not None:
        says += f" Raw top stays on {odds_words(odds.raw_stays)}."
    return says


def tightest_table(found: Outcome, units: Units) -> str:
    """Return the checks that are closest to their limits, a row each, with what drives them."""
    heads = (f"tightest, {units.short}", "verdict", "value", "worst", "limit")
    rows = [
        (*_figures(one.check, units), one.driven_by or one.check.where) for one in found.tightest
    ]
    widths = [max([len(head), *(len(row[k]) for row in rows)]) for k, head in enumerate(heads)]
    # Only the last column is cut short: a figure with its end missing is another figure.
    room = WIDTH - sum(widths) - _GAP * len(widths) - _GAP
    table = new_table(units)
    for k, head in enumerate(heads):
        table.add_column(head, justify="right" if k > 1 else "left", no_wrap=True)
    table.add_column("driven by", no_wrap=True)
    for *figures, what in rows:
        said = units.text(what)
        table.row(*figures, said if len(said) <= room else f"{said[: room - 1]}…")
    return rendered(table)


def _figures(check: Check, units: Units) -> tuple[str, ...]:
    """Return a check's name, verdict, value, worst case and limit, as they are shown."""
    name = check.id if check.unit in ("", "mm") else f"{check.id}, {unit_word(check.unit)}"
    values = (figure_cell(one, check.unit) for one in (check.value, check.worst, check.limit))
    return tuple(units.text(cell) for cell in (name, check.verdict, *values))


def _clipped(text: str, lines: int) -> str:
    return textwrap.fill(
        text, WIDTH, subsequent_indent="  ", max_lines=lines, placeholder=" …",
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
