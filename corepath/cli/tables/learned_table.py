"""What past boards taught, as tables at most 80 columns wide, and the lines to type."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import new_table, rendered, wrapped
from corepath.lengths import Units, mm, units_of
from corepath.planning.learning.clock_lines import keys_to_type
from corepath.planning.learning.spreads import LEAST, SURE

if TYPE_CHECKING:
    from corepath.planning.learning.learned import Learned, LearnedValue

__all__ = ["learned_text"]


def learned_text(found: Learned, shop: Path) -> str:
    """Return all that was learned, in the units of the shop file."""
    units = units_of(found.shop.units)
    count = len(found.boards)
    parts = [f"{shop}: {count} {'board' if count == 1 else 'boards'} with a record"]
    if found.boards:
        parts += [_values(found, units), *_cutters(found, units), *_clock(found, units)]
        parts.append(_to_type(found, units))
    parts += [wrapped(units.text(f"- {line}")) for line in found.told]
    if not found.boards:
        parts.append(
            "Nothing to learn from yet: jobs that name this shop file get a record by "
            "corepath record."
        )
    return "\n".join(part for part in parts if part)


def _values(found: Learned, units: Units) -> str:
    table = new_table(units)
    table.heads(f"from the records, {units.short}", overflow="fold")
    for name in ("figures", "boards", "found ±", "off by", "now", "to type"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in found.values:
        spread = one.spread
        if not spread.count:
            continue
        told = "too few" if one.value is None else f"{mm(one.value):.2f}"
        table.row(
            f"{one.what} ({one.key})", str(spread.count), str(spread.boards),
            f"{mm(spread.half):.3f}", f"{mm(spread.mean):+.3f}", f"{mm(one.had):.2f}", told,
        )  # fmt: skip
    note = (
        f"found: three sigmas. To type: what it is at most in {SURE:.0%} of all shops with such "
        f"figures, rounded up; none from fewer than {LEAST} independent figures."
    )
    return f"\n{rendered(table)}\n{wrapped(note)}"


def _cutters(found: Learned, units: Units) -> list[str]:
    if not found.cutters:
        return []
    table = new_table(units)
    for name in ("cutter", "listed", "now about", "a board", "measured"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in found.cutters:
        slope = "" if one.slope is None else f"{mm(one.slope):+.3f}"
        table.row(
            f"T{one.number}", f"{mm(one.listed):.2f}", f"{mm(one.last):.3f}", slope, str(one.count)
        )
    return [f"\n{rendered(table)}"]


def _clock(found: Learned, units: Units) -> list[str]:
    clock = found.clock
    if clock is None:
        return []
    sure = "sure" if clock.sure else "not sure yet: time three files or more that agree"
    count = len(clock.files)
    files = f"{count} {'file' if count == 1 else 'files'} timed, {sure}"
    return ["", wrapped(units.text(keys_to_type(clock, found.shop.machine.motion_limits))),
            wrapped(files)]  # fmt: skip


def _to_type(found: Learned, units: Units) -> str:
    """Return the lines to type into the shop file, for what differs from what it says."""
    lines = [_line(one, units) for one in found.values if _differs(one)]
    lines = ["[tolerances]", *lines] if lines else []
    for one in found.cutters:
        if one.slope is not None and abs(one.last - one.listed) >= 0.005:
            lines += [
                f"[[cutter]] of number {one.number}:",
                units.text(f"diameter = {mm(round(one.last, 3)):g}"),
            ]
    if not lines:
        nothing = "Nothing else to type" if found.clock else "Nothing to type"
        return f"\n{nothing}: what the shop file says is what was found, or too little is."
    return "\n".join(["\nTo type into the shop file, where you agree (nothing is changed):",
                      *(f"    {line}" for line in lines)])  # fmt: skip


def _line(one: LearnedValue, units: Units) -> str:
    value = 0.0 if one.value is None else round(one.value, 4)
    name = one.key.removeprefix("tolerances.")
    return units.text(f"{name} = {mm(value):g}")


def _differs(one: LearnedValue) -> bool:
    return one.value is not None and abs(one.value - one.had) >= 0.005
