"""One sheet with what shows of the casting once the deck is cut: plan, the band's width all along
the outline, and a table.

Plan in the board frame, deck up, mm: casting that shows is hatched; where it was not filled up to
the deck, shades show the depth below it. Below the plan the width of the band inside the outline,
unrolled from the outline's first point on.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.board.features import Board
from corepath.geometry.polylines import length
from corepath.job.model import Job
from corepath.lengths import AREA, UNIT, mm, square_mm, units_of
from corepath.stackup.casting_on_deck import NOT_FILLED, DeckCasting, notes
from corepath.views.drawing_sheet import (
    HEIGHT,
    MAIN,
    NORMAL,
    SIDE,
    SMALL,
    WIDTH,
    Labels,
    best_scale,
    heading,
    scale_note,
    scale_words,
    side_block,
)
from corepath.views.drawings.cuts import Bands
from corepath.views.drawings.legend import below_swatches, bullets, swatch
from corepath.views.drawings.marks import lines_to_avoid
from corepath.views.drawings.plan_view import PlanView, draw_blank
from corepath.views.maps.contours import contour
from corepath.views.maps.field import bands_of
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document, polygon_path, polyline_path, shown

__all__ = ["deck_casting_sheet"]

_PLAN = Box(MAIN.x0 + 12, MAIN.y0 + 8, MAIN.x1 - 11, MAIN.y0 + 122)
_CURVE = Box(MAIN.x0 + 18, MAIN.y0 + 146, MAIN.x1 - 22, MAIN.y0 + 190)
_TABLE = Box(MAIN.x0, MAIN.y0 + 200, MAIN.x1, MAIN.y1)
_MARKS = 12
_PITCH = 4.4
_TITLE = "Deck and casting"

Floats = NDArray[np.float64]


def deck_casting_sheet(job: Job, board: Board, found: DeckCasting, *, digest: str) -> str:
    """Return `deck-and-casting.svg` as text."""
    x0, y0, x1, y1 = board.blank.bounds
    scale = best_scale(x1 - x0, y1 - y0, _PLAN)
    deepest = max((one.deepest for one in found.castings), default=0.0)
    bands = bands_of(-deepest, -NOT_FILLED) if deepest > 0.0 else None
    title = f"{job.title}: {_TITLE}"
    css = stylesheet({"plan": 1 / scale}, bands.count if bands else 2)
    svg = Document(WIDTH, HEIGHT, title, css, f"Plan {digest}. Deck up.")
    source = (
        "from the read-back"
        if found.columns.source == "read-back"
        else "as the stack-up expects it, nominal"
    )
    heading(
        svg,
        title,
        "BOARD FRAME, DECK UP",
        f"what of the casting shows once the deck is cut, {source}",
    )
    with svg.defs():
        svg.hatch("resin-sheet", 1.8, "hatching")
        with svg.group("plan"):
            svg.hatch("resin-plan", 1.2 / scale, "hatching", up=True)
    view = PlanView.fitted(svg, board.blank.bounds, _PLAN, scale)
    _plan(view, board, found, bands)
    _labels(view, board, found)
    _unrolled(svg, found)
    _table(svg, found)
    _side(svg, job, found, bands, digest)
    return units_of(job.units).text(svg.render())


def _plan(view: PlanView, board: Board, found: DeckCasting, bands: Bands | None) -> None:
    svg = view.svg
    with svg.group("plan", id="plan", transform=view.transform):
        draw_blank(svg, board.blank.bounds)
        svg.path(
            _edges(view, found, found.shows.astype(np.float64), 0.5),
            "casting resin narrow",
            id="shows",
        )
        if bands is not None:
            with svg.group("not-filled", id="not-filled"):
                for k in range(bands.count):
                    level = max(-bands.bounds[k], NOT_FILLED)
                    svg.path(_edges(view, found, found.depth, level), f"f{k}", fill_rule="evenodd")
        for casting in board.castings:
            svg.path(
                polygon_path(casting.area, view.places),
                "casting hidden",
                id=f"casting-{casting.id}",
            )
        svg.path(polygon_path(board.outline, view.places), "outline uncut", id="outline")


def _edges(view: PlanView, found: DeckCasting, grid: Floats, level: float) -> str:
    """Return path data around the columns where `grid` (ny, nx) is above `level`."""
    # Only the part of the grid that has such columns, and one beyond for the contour to close:
    # the casting is a thin band in a large blank.
    columns = found.columns
    rows, cols = np.nonzero(grid > level)
    if not len(rows):
        return ""
    ys, xs = (slice(max(int(k.min()) - 1, 0), int(k.max()) + 2) for k in (rows, cols))
    lines = contour(columns.xs[xs], columns.ys[ys], np.ascontiguousarray(grid[ys, xs].T), level)
    return "".join(polyline_path(line, view.places, close=True) for line in lines)


def _labels(view: PlanView, board: Board, found: DeckCasting) -> None:
    svg = view.svg
    labels = Labels(svg, Box(MAIN.x0 + 1, MAIN.y0 + 1, MAIN.x1 - 1, view.extent.y1 + 6))
    labels.lines = lines_to_avoid(
        view, [board.blank, *(casting.area for casting in board.castings)], []
    )
    for one in found.castings:
        if one.at is not None:
            sx, sy = view.sheet(*one.at)
            labels.place(sx, sy, f"{mm(one.deepest):.2f} deep", 2.0, class_="label strong halo")
    x, y = found.band.least_at
    sx, sy = view.sheet(x, y)
    svg.add("circle", class_="wide", cx=sx, cy=sy, r=2.0)
    labels.place(
        sx,
        sy,
        f"least {mm(found.band.least):.1f} ± {mm(_accuracy(found)):.1f}",
        3.0,
        class_="label strong halo",
    )
    for casting, one in zip(board.castings[1:], found.castings[1:], strict=True):
        x0, y0, x1, y1 = casting.area.bounds
        sx, sy = view.sheet((x0 + x1) / 2, (y0 + y1) / 2)
        share = min(one.shows / one.footprint, 1.0)
        labels.place(
            sx,
            sy,
            f"{one.id} {share:.0%}",
            max(x1 - x0, y1 - y0) / 2 * view.scale,
            class_="label name halo",
        )
    for number_, k in enumerate(_marked(found), start=1):
        sx, sy = view.sheet(*(float(v) for v in found.band.places[k]))
        labels.place(sx, sy, str(number_), 1.0, class_="label quiet halo")
    says = f"broken: the casting as designed; {UNIT}"
    scale_note(svg, MAIN.x0 + 19, view.extent.y1 + 9, view.scale, says)


def _accuracy(found: DeckCasting) -> float:
    """Return how well a width is known, mm: an edge lies somewhere between two columns, at worst
    diagonal neighbours, so within half their distance."""
    return math.hypot(1.0, 1.0) * found.columns.spacing / 2.0


def _marked(found: DeckCasting) -> list[int]:
    count = len(found.band.inside)
    return [round(k * count / _MARKS) for k in range(_MARKS)]


def _unrolled(svg: Document, found: DeckCasting) -> None:
    band, box = found.band, _CURVE
    widths = np.append(band.inside, band.inside[0])
    high = max(float(widths.max()), band.wanted) * 1.15

    def y(width: float) -> float:
        return box.y1 - width / high * box.height

    with svg.group("unrolled", id="unrolled"):
        along = length(np.vstack((band.places, band.places[:1])))
        says = "Along the outline, all round: width of the casting that shows inside it; "
        says += f"scale {_scale(box.width / along)} along it, {_scale(box.height / high)} across"
        svg.text(MAIN.x0 + 4, box.y0 - 3, says, "label strong", size=NORMAL)
        svg.add("rect", class_="narrow", x=box.x0, y=box.y0, width=box.width, height=box.height)
        svg.line(box.x0, y(band.wanted), box.x1, y(band.wanted), "hidden")
        svg.text(box.x1 + 1.5, y(band.wanted) + 1.1, "designed", size=SMALL)
        given = [band.wanted]
        for width in (band.wanted, band.least, 0.0):
            if width == band.wanted or all(abs(y(width) - y(other)) > 3.4 for other in given):
                svg.text(
                    box.x0 - 1.5,
                    y(width) + 1.1,
                    shown(width, 1),
                    "figure",
                    size=SMALL,
                    anchor="end",
                )
                given.append(width)
        xs = box.x0 + box.width * np.arange(len(widths)) / (len(widths) - 1)
        svg.path(
            polyline_path(np.column_stack([xs, [y(float(w)) for w in widths]])), "curve narrow"
        )
        for count, k in enumerate(_marked(found), start=1):
            svg.line(float(xs[k]), box.y1, float(xs[k]), box.y1 + 1.2, "narrow")
            svg.text(
                float(xs[k]), box.y1 + 4.4, str(count), "label quiet", size=SMALL, anchor="middle"
            )


def _scale(scale: float) -> str:
    """Return a scale that follows from the available room in words, to two digits."""
    return scale_words(float(f"{scale:.2g}"))


def _table(svg: Document, found: DeckCasting) -> None:
    """Draw a row for each casting: footprint, what shows of it, what was not filled; as many rows
    as there is room for, the deepest first."""
    heads = (("casting", 4.0), ("footprint, "
                                f"{AREA}", 55.0), (f"shows, {AREA}", 95.0), ("share", 125.0),
             ("not filled, "
              f"{AREA}", 160.0), (f"deepest, {UNIT}", 195.0), ("at", 210.0))  # fmt: skip
    rows = [
        (one.id, f"{square_mm(one.footprint):.0f}", f"{square_mm(one.shows):.0f}",
         f"{min(one.shows / one.footprint, 1.0):.0%}",
         f"{square_mm(one.not_filled):.0f}" if one.at else "–",
         f"{mm(one.deepest):.2f}" if one.at else "–",
         f"X{mm(one.at[0]):.0f} Y{mm(one.at[1]):.0f}" if one.at else "")
        # Rounded: castings that are equally deep stay in the order of the job.
        for one in sorted(found.castings, key=lambda one: -round(one.deepest, 3))
    ]  # fmt: skip
    room = int((_TABLE.height - 12) // _PITCH)
    if len(rows) > room:
        more = f"and {len(rows) - room + 1} more: report.json, deck_casting"
        rows = [*rows[: room - 1], (more, "", "", "", "", "", "")]
    with svg.group("table", id="table"):
        svg.line(_TABLE.x0, _TABLE.y0, SIDE.x0 - 1, _TABLE.y0, "narrow")
        for k, row in enumerate([tuple(name for name, _ in heads), *rows]):
            y = _TABLE.y0 + 5.5 + k * _PITCH
            for j, text in enumerate(row):
                end = 0 < j < len(row) - 1
                kind = "label strong" if k == 0 else "label"
                svg.text(
                    _TABLE.x0 + heads[j][1],
                    y,
                    text,
                    kind,
                    size=SMALL,
                    anchor="end" if end else "start",
                )


def _side(svg: Document, job: Job, found: DeckCasting, bands: Bands | None, digest: str) -> None:
    rows = [("job", job.title), ("sheet", _TITLE), ("casting", job.cast.resin), ("plan", digest)]
    side_block(svg, rows)
    y = SIDE.y0 + 4
    with svg.group("legend", id="legend"):
        svg.text(SIDE.x0 + 2, y, "In the plan", "label strong", size=NORMAL)
        y += 3.0
        swatch(svg, SIDE, y, "resin narrow", "casting that shows in the deck")
        for kind, words in (("hidden", "casting as designed"), ("uncut", "outline of the board")):
            y += 6.0
            svg.line(SIDE.x0 + 3, y + 2.2, SIDE.x0 + 16, y + 2.2, kind)
            svg.text(SIDE.x0 + 19, y + 3.4, words, size=SMALL)
        y += 10.0
        if bands is not None:
            svg.text(
                SIDE.x0 + 2, y, f"Not filled, {UNIT} below the deck", "label strong", size=NORMAL
            )
            y = below_swatches(svg, SIDE, y, bands, NOT_FILLED) + 10.0
        apart = f"Columns are {shown(found.columns.spacing)} apart, so widths are good to "
        apart += f"{mm(_accuracy(found)):.2f} {UNIT}."
        said = notes(found)
        lines = [*said, "Numbers along the outline are those below the curve.", apart]
        svg.text(
            SIDE.x0 + 2,
            y,
            "What to mind" if said else "All shows as designed",
            "label strong",
            size=NORMAL,
        )
        bullets(svg, SIDE, y, lines, _PITCH)
