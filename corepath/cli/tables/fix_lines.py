"""Fixes that were tried, each with the command that takes it."""

from __future__ import annotations

import shlex
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import WIDTH
from corepath.lengths import Units, marked

if TYPE_CHECKING:
    from corepath.stackup.advice.fix import Fix
    from corepath.stackup.odds.outcome import Outcome

__all__ = ["fix_lines", "fix_words"]

_MARGIN = "   "


def fix_lines(found: Outcome, job: Path, units: Units) -> str:
    """Returns all fixes of a job, the cheapest first, or how near any came."""
    fixes = found.fixes
    if found.answer == "ready":
        return "All checks hold: there is nothing to fix."
    if not fixes.found:
        if fixes.nearest is None:
            return "No fix was found that keeps all limits."
        return textwrap.fill(_capital(units.text(fixes.nearest.message.marked)) + ".", WIDTH)
    tried = f"after {fixes.tried} trials" if fixes.complete else "in as many trials as are made"
    told = [f"Fixes, each tried, the cheapest first (found {tried}):"]
    for number, fix in enumerate(fixes.found, 1):
        text = units.text(f"{number}. {marked(fix.message)}")
        told.append(textwrap.fill(text, WIDTH, subsequent_indent=_MARGIN, break_on_hyphens=False))
        if fix.measure:
            told.append(f"{_MARGIN}{shlex.join(['corepath', 'record', str(job)])}")
        if fix.settings:
            words = ("check", str(job), "--apply", *fix.typed(units))
            told.append(f"{_MARGIN}{shlex.join(['corepath', *words])}")
    return "\n".join(told)


def fix_words(fix: Fix, job: Path, units: Units) -> tuple[str, ...]:
    """Returns the words of the command that takes a fix, or its first step, behind `corepath`."""
    if fix.measure:
        return "record", str(job)
    return "check", str(job), "--apply", *fix.typed(units)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
