"""What a single file of anyone's making would do to a blank, as a table of at most 80 columns, in the file's units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rich.text import Text

from corepath.cli.tables import new_table, rendered, wrapped
from corepath.lengths import AREA, MM, Units, either, feed, mm, square_mm
from corepath.motion.cutter import cutter_words

__all__ = ["foreign_table", "mend_lines"]

_SIDES = ("left", "right", "front", "back")


def foreign_table(report: Mapping[str, Any], units: Units = MM) -> str:
    """The report of one file, a row for each figure; places are from the middle of the blank."""
    table = new_table(units)
    for name in ("what", "figure"):
        table.add_column(name, overflow="fold")
    table.add_column("where", no_wrap=True)
    for what, figure, where in _rows(report):
        table.add_row(*(Text(units.text(cell)) for cell in (what, figure, where)))
    zero = report["zero"]
    says = (
        f"Lengths in {units.words}; places from the middle of the blank. The program's zero is taken at "
        f"X{mm(zero['x']):g} Y{mm(zero['y']):g}, {mm(zero['z']):g} above the bed. Minutes are by the rapid and the "
        "acceleration given, stops not counted."
    )
    return f"{rendered(table)}\n{wrapped(units.text(says))}"


def _rows(report: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    blank, minutes = report["blank"], report["minutes"]
    yield "lines, motions", f"{report['lines']}, {report['motions']}", ""
    yield "blank", " x ".join(f"{mm(blank[side]):g}" for side in ("length", "width", "thickness")), ""
    for cutter in report["cutters"]:
        name = f"cutter, T{cutter['called']}" if cutter["called"] >= 0 else "cutter"
        yield name, _cutter(cutter), ""
    for axis, (low, high) in (report["extents"] or {}).items():
        yield f"program {axis.upper()}", f"{mm(low):.3f} to {mm(high):.3f}", ""
    total = f"{minutes['total']:.2f}" + ("" if minutes["known"] else " and cuts without a feed")
    yield (
        "minutes",
        f"{total} (feed {minutes['feed']:.2f}, rapid {minutes['rapid']:.2f}, dwell {minutes['dwell']:.2f})",
        "",
    )
    yield "way at feed, at rapid", f"{mm(report['cut_length']):.0f}, {mm(report['rapid_length']):.0f}", ""
    if report["feeds"]:
        low, high = (feed(end) for end in report["feeds"])
        yield f"feed, {either('mm/min', 'in/min')}", f"{low:.0f} to {high:.0f}", ""
    yield "spindle, rpm", ", ".join(f"{speed:g}" for speed in report["speeds"]) or "never started", ""
    yield "removed, cm³", f"{report['removed'] / 1000.0:.2f}", ""
    yield "deepest below the top", *_spot(report["depth"])
    yield "least wood left under a cut", *_spot(report["left"])
    yield f"cut right through, {AREA}", f"{square_mm(report['through']):.1f}" if report["through"] else "nowhere", ""
    if report["below_bed"]:
        yield "deepest below the bed", f"{mm(report['below_bed']):.3f}", ""
    sides = [f"{side} {mm(report['beyond'][side]):.1f}" for side in _SIDES if report["beyond"][side] > 0.0]
    yield "reaches past the sides", ", ".join(sides) or "nowhere", ""
    yield "straight down into wood", f"{mm(report['straight_down']):.2f}", ""
    yield "way at feed that meets nothing", f"{mm(report['air']):.0f}", ""
    if report["unstated"]:
        yield "not stated", ", ".join(report["unstated"]), ""


def _cutter(cutter: Mapping[str, Any]) -> str:
    if "shape" not in cutter:
        return "not given: what it cuts is left out"
    return cutter_words(cutter)


def _spot(spot: Mapping[str, float] | None) -> tuple[str, str]:
    if spot is None:
        return "nothing is cut", ""
    return f"{mm(spot['value']):.3f}", f"X{mm(spot['x']):.1f} Y{mm(spot['y']):.1f}"


def mend_lines(kinds: Sequence[str]) -> str:
    """What to do about each kind found, under a heading that names the page which tells more."""
    from corepath.readback.mends import MENDS

    return "\n".join(["What to do (see docs/readback.md):", *(wrapped(f"{kind}: {MENDS[kind]}") for kind in kinds)])
