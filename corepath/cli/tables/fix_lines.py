"""Fixes that were tried, each with the command that takes it."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import WIDTH, next_command
from corepath.lengths import Units, marked

if TYPE_CHECKING:
    from corepath.stackup.advice.fix import Fix
    from corepath.stackup.odds.outcome import Outcome

__all__ = ["fix_command", "fix_lines"]

_MARGIN = "   "


def fix_lines(found: Outcome, job: Path, units: Units) -> str:
    """Returns all fixes of a job, the cheapest first, or how near any came."""
    fixes = found.fixes
    if found.answer == "ready":
        return "All checks hold: there is nothing to fix."
    if not fixes.found:
        if fixes.nearest is None:
            return "No value of the job changes what does not hold."
        return textwrap.fill(_capital(units.text(fixes.nearest.says.marked)) + ".", WIDTH)
    tried = f"after {fixes.tried} trials" if fixes.complete else "in as many trials as are made"
    told = [f"Fixes, each tried, the cheapest first (found {tried}):"]
    for number, fix in enumerate(fixes.found, 1):
        text = units.text(f"{number}. {marked(fix.says)}")
        told.append(textwrap.fill(text, WIDTH, subsequent_indent=_MARGIN, break_on_hyphens=False))
        told.append(f"{_MARGIN}{fix_command(fix, job, units)}")
    return "\n".join(told)


def fix_command(fix: Fix, job: Path, units: Units) -> str:
    """Returns the command that takes a fix, on one line, so that it can be pasted."""
    if fix.measure:
        return next_command("record", job).removeprefix("Next: ")
    return next_command("check", job, "--apply", *fix.typed(units)).removeprefix("Next: ")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
