"""What a single file from any source would do to a blank, as a table at most 80 columns wide, in
the file's units."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.text import Text

from corepath.cli.tables.paragraphs import new_table, rendered, wrapped
from corepath.lengths import AREA, MM, Units, either, feed, mm, square_mm
from corepath.motion.cutter import cutter_words
from corepath.reported import PLACES

if TYPE_CHECKING:
    from corepath.readback.foreign.foreign_facts import Foreign, Spot

__all__ = ["finding_fix_lines", "foreign_table"]

_SIDES = ("left", "right", "front", "back")


def foreign_table(found: Foreign, units: Units = MM) -> str:
    """Return a table of what one file does, a row for each figure; places are from the middle of
    the blank."""
    table = new_table(units)
    for name in ("what", "figure"):
        table.add_column(name, overflow="fold")
    table.add_column("where", no_wrap=True)
    for what, figure, where in _rows(found):
        table.add_row(*(Text(units.text(cell)) for cell in (what, figure, where)))
    x, y, z = (mm(round(value, 6)) for value in found.bench.zero)
    says = (
        f"Lengths in {units.words}; places from the middle of the blank. The program's zero is "
        f"taken at X{x:g} Y{y:g}, {z:g} above the bed. Minutes are by the rapid and the "
        "acceleration given, stops not counted."
    )
    return f"{rendered(table)}\n{wrapped(units.text(says))}"


def _rows(found: Foreign) -> Iterator[tuple[str, str, str]]:
    bench, minutes, deed = found.bench, found.minutes, found.deed
    yield "lines, motions", f"{found.program.lines}, {found.motions}", ""
    yield (
        "blank",
        " x ".join(f"{mm(side):g}" for side in (bench.length, bench.width, bench.thickness)),
        "",
    )
    for number in found.used:
        cutter = bench.cutter(number)
        words = (
            "not given: what it cuts is left out" if cutter is None else cutter_words(cutter.form())
        )
        yield f"cutter, T{number}" if number >= 0 else "cutter", words, ""
    for axis, (low, high) in zip("XYZ", found.extents or (), strict=False):
        yield f"program {axis}", f"{_mm(low):.3f} to {_mm(high):.3f}", ""
    total, feeds, rapid, dwell = (
        round(one, PLACES) for one in (minutes.total, minutes.feed, minutes.rapid, minutes.dwell)
    )
    doubt = "" if minutes.known else " and cuts without a feed"
    yield (
        "minutes",
        f"{total:.2f}{doubt} (feed {feeds:.2f}, rapid {rapid:.2f}, dwell {dwell:.2f})",
        "",
    )
    yield (
        "way at feed, at rapid",
        f"{_mm(found.cut_length, 3):.0f}, {_mm(found.rapid_length, 3):.0f}",
        "",
    )
    if found.feeds:
        low, high = (feed(round(end, 3)) for end in found.feeds)
        yield f"feed, {either('mm/min', 'in/min')}", f"{low:.0f} to {high:.0f}", ""
    yield "spindle, rpm", ", ".join(f"{speed:g}" for speed in found.speeds) or "never started", ""
    yield "removed, cm³", f"{round(deed.removed, 1) / 1000.0:.2f}", ""
    yield "deepest below the top", *_spot(deed.depth)
    yield "least wood left under a cut", *_spot(deed.left)
    through = round(deed.through, 2)
    yield f"cut right through, {AREA}", f"{square_mm(through):.1f}" if through else "nowhere", ""
    if round(deed.below_bed, PLACES):
        yield "deepest below the bed", f"{_mm(deed.below_bed):.3f}", ""
    beyond = zip(_SIDES, deed.beyond, strict=True)
    sides = [f"{side} {_mm(length):.1f}" for side, length in beyond if round(length, PLACES) > 0.0]
    yield "reaches past the sides", ", ".join(sides) or "nowhere", ""
    yield "straight down into wood", f"{_mm(deed.straight_down):.2f}", ""
    yield "way at feed that meets nothing", f"{_mm(deed.air, 2):.0f}", ""
    if found.program.unstated:
        yield "not stated", ", ".join(found.program.unstated), ""


def _mm(length: float, places: int = PLACES) -> float:
    """Return a length rounded as in the report."""
    return mm(round(length, places))


def _spot(spot: Spot | None) -> tuple[str, str]:
    if spot is None:
        return "nothing is cut", ""
    return f"{_mm(spot.value):.3f}", f"X{_mm(spot.x, 3):.1f} Y{_mm(spot.y, 3):.1f}"


def finding_fix_lines(kinds: Sequence[str]) -> str:
    """Return what to do about each kind of finding, under a heading that names the page with more
    about it."""
    from corepath.readback.finding_fixes import FINDING_FIXES

    return "\n".join(
        [
            "What to do (see docs/readback.md):",
            *(wrapped(f"{kind}: {FINDING_FIXES[kind]}") for kind in kinds),
        ]
    )
