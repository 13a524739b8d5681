"""What each limit costs, and what other cutters and numbers would save, at most 80 columns wide."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from corepath.cli.tables.deck_cutter_table import explored_lines
from corepath.cli.tables.paragraphs import new_table, rendered, wrapped
from corepath.lengths import MM, Units, marked

if TYPE_CHECKING:
    from corepath.planning.exploring.exploration import Exploration
    from corepath.planning.exploring.limit_costs import LimitCosts
    from corepath.planning.exploring.tried_numbers import TriedNumber

__all__ = ["exploration_text"]


def exploration_text(found: Exploration, units: Units = MM) -> str:
    """Return all that was explored: limits by file, numbers, cutters."""
    parts = [_limits(found.limits, units)] if found.limits else []
    parts += [_number(one, units) for one in found.numbers]
    parts += [explored_lines(found.cutters, units)] if found.cutters else []
    return "\n".join(parts)


def _limits(limits: Sequence[LimitCosts], units: Units) -> str:
    table = new_table(units)
    table.add_column("file: cost of", no_wrap=True)
    for name in ("min", "chip load", "accel", "corners", "lines", "power", "bending"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in limits:
        shares = ("–" if share is None else f"{share:.0%}" for share in (one.power, one.bending))
        costs = (one.minutes, one.chip_load, one.acceleration, one.corners, one.lines)
        table.row(one.file, *(f"{cost:.1f}" for cost in costs), *shares)
    words = (
        "each limit by itself, the path as it is; power and bending slow nothing: how much of "
        "their limits the heaviest cut takes"
    )
    return f"{rendered(table)}\n{wrapped(words)}"


def _number(one: TriedNumber, units: Units) -> str:
    change = marked(one.change)
    if one.saves is None or one.minutes is None:
        least = f"would take up to {one.least:.1f} min off" if one.least > 0.0 else "no job"
        return wrapped(units.text(f"with {change}: {least}; {marked(one.against)}"))
    if one.saves < 0.05:
        return wrapped(units.text(f"with {change}: nothing saved"))
    return wrapped(
        units.text(f"with {change}: {one.minutes:.1f} min in all, {one.saves:.1f} less; planned")
    )
