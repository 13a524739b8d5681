"""The parts beside and below the plan of a map: the table of passes or castings, the legend, the
cautions."""

from __future__ import annotations

from corepath.lengths import UNIT, mm
from corepath.views.drawing_sheet import MAIN, NORMAL, SIDE, SMALL, side_block
from corepath.views.drawings.cuts import Bands
from corepath.views.drawings.legend import line_kinds, swatch
from corepath.views.maps.map_facts import MapSheet
from corepath.views.svg import Box, Document, shown, wrapped

__all__ = ["draw_side", "draw_table"]

_TABLE = Box(MAIN.x0, MAIN.y0 + 200, MAIN.x1, MAIN.y1)
_PITCH = 4.4


def draw_table(svg: Document, sheet: MapSheet) -> None:
    """Draw a table in two columns: what shows after each pass, or the least and the most of each
    casting."""
    lines = _show_lines(sheet) if sheet.passes else _casting_lines(sheet)
    title = (
        "What shows after each pass, nominal"
        if sheet.passes
        else "Each casting: least and most, and where the least is"
    )
    width = (_TABLE.width - 14) / 2
    laid = [text for line in lines for text in wrapped(line, SMALL, width)]
    rows = int((_TABLE.height - 11) // _PITCH)
    if len(laid) > 2 * rows:
        laid = [*laid[: 2 * rows - 1], "and more: see the report"]
    with svg.group("table", id="table"):
        svg.line(_TABLE.x0, _TABLE.y0, SIDE.x0 - 1, _TABLE.y0, "narrow")
        svg.text(_TABLE.x0 + 4, _TABLE.y0 + 5.5, title, "label strong", size=NORMAL)
        for k, line in enumerate(laid):
            column, row = divmod(k, rows)
            x, y = _TABLE.x0 + 4 + column * (width + 6), _TABLE.y0 + 10.5 + row * _PITCH
            strong = " strong" if "(planned stop)" in line else ""
            svg.text(x, y, line, "label" + strong, size=SMALL)


def _show_lines(sheet: MapSheet) -> list[str]:
    ring, *plugs = (casting.id for casting in sheet.castings)
    lines = []
    for row in sheet.passes:
        stop = " (planned stop)" if row.number == sheet.planned_stop else ""
        seen = [plug for plug in plugs if row.shares[plug][1] >= 1.0]
        if not plugs:
            said = ""
        elif len(seen) == len(plugs):
            said = "; all plugs"
        else:
            said = "; plugs " + (", ".join(seen) if seen else "none")
        lines.append(
            f"pass at {mm(row.plane):.2f}{stop}: {row.shares[ring][1]:.0%} of the ring{said}"
        )
    return lines


def _casting_lines(sheet: MapSheet) -> list[str]:
    lines = []
    for sampled in sheet.sampled:
        least, most = sampled.least, sampled.most
        x, y = sheet.at(least)
        place = f", least at X{shown(x, 0)} Y{shown(y, 0)}" if len(sampled.stations) > 1 else ""
        lines.append(f"{sampled.id}: {mm(least.least):.2f} to {mm(most.most):.2f}{place}")
    return lines


def draw_side(svg: Document, sheet: MapSheet, bands: Bands) -> None:
    """Draw the block beside the map: the blank, what is known of it, and the bands' legend."""
    blank = sheet.job.blank
    rows = [
        ("job", sheet.job.title),
        ("map", sheet.title),
        (
            "blank",
            f"{shown(blank.length)} × {shown(blank.width)} × {shown(sheet.thickness)}, "
            f"{blank.wood}",
        ),
        ("plan", sheet.digest),
    ]
    bottom = side_block(svg, rows)
    y = _legend(svg, sheet, bands)
    _mind(svg, sheet, y + 2, bottom)


def _legend(svg: Document, sheet: MapSheet, bands: Bands) -> float:
    y = SIDE.y0
    with svg.group("legend", id="legend"):
        svg.text(SIDE.x0 + 2, y + 4, f"On groove and plugs, {UNIT}", "label strong", size=NORMAL)
        y += 7.0
        for band in range(bands.count):
            kind = bands.count - 1 - band if sheet.darker == "high" else band
            text = f"{mm(bands.bounds[band]):.2f} to {mm(bands.bounds[band + 1]):.2f}"
            swatch(svg, SIDE, y, f"f{kind}", text, "figure")
            y += 5.2
        samples = [("contour", "contour line, with its figure"), ("uncut", "outline of the board")]
        if sheet.seal:
            samples.append(("wide", "round it: seal here, from below"))
        return line_kinds(svg, SIDE, y, samples)


def _mind(svg: Document, sheet: MapSheet, y: float, bottom: float) -> None:
    """Draw the cautions, as many lines as there is room for."""
    said = list(sheet.cautions)
    if sheet.seal:
        said.insert(0, _SEAL)
    lines = [
        text
        for line in said
        for text in ("– " + wrapped(line, SMALL, SIDE.width - 8)[0], *_rest(line))
    ]
    room = int((bottom - y - 8) // _PITCH)
    if room < 1 or not lines:
        return
    if len(lines) > room:
        lines = [*lines[: room - 1], "– more in the report"]
    with svg.group("mind", id="mind"):
        svg.line(SIDE.x0 - 1, y, SIDE.x1, y, "narrow")
        svg.text(SIDE.x0 + 2, y + 5, "What to mind", "label strong", size=NORMAL)
        for k, line in enumerate(lines):
            svg.text(SIDE.x0 + 2, y + 9.6 + k * _PITCH, line, size=SMALL)


def _rest(line: str) -> list[str]:
    return wrapped(line, SMALL, SIDE.width - 8)[1:]


_SEAL = (
    "Tape or seal the marked places from below before the pour, so that no resin runs out through "
    "thin wood."
)
