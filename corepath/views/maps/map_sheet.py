"""One sheet with a map: plan with bands and contour lines, the ring unrolled, a table, legend and
cautions.

Plan in the frame of the set-up drawn, mm: the board's, or for a map seen from below the bed frame
of B, mirrored by the flip, though its words are not. Sheet mm as in
`corepath.views.drawing_sheet`. The ring is unrolled from its first station on; numbered marks on
the plan and below the curve are the same places.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from shapely import LineString, Point, Polygon

from corepath.board.features import Casting
from corepath.lengths import UNIT, mm, units_of
from corepath.stackup.stations import Station
from corepath.views.drawing_sheet import (
    MAIN,
    SMALL,
    Labels,
    best_scale,
    new_sheet,
    scale_note,
)
from corepath.views.drawings.cuts import Bands
from corepath.views.drawings.hardware import draw_dowel
from corepath.views.drawings.marks import lines_to_avoid, set_figures
from corepath.views.drawings.plan_view import PlanView, draw_blank
from corepath.views.maps.field import bands_of, draw_bands, draw_lines, laid_over
from corepath.views.maps.map_facts import MapSheet
from corepath.views.maps.map_ring import draw_unrolled
from corepath.views.maps.map_side import draw_side, draw_table
from corepath.views.style import stylesheet
from corepath.views.svg import Box, polygon_path

__all__ = ["draw_map"]

_PLAN = Box(MAIN.x0 + 12, MAIN.y0 + 8, MAIN.x1 - 11, MAIN.y0 + 122)


def draw_map(sheet: MapSheet) -> str:
    """Return the map as SVG text."""
    board, job = sheet.board, sheet.job
    x0, y0, x1, y1 = board.blank.bounds
    scale = best_scale(x1 - x0, y1 - y0, _PLAN)
    stations = [station for sampled in sheet.sampled for station in sampled.stations]
    bands = bands_of(min(s.least for s in stations), max(s.most for s in stations))
    up = "SEEN FROM BELOW" if sheet.below else "DECK UP"
    axis = job.machine.flip_about.upper()
    under = (
        f"as the blank lies turned over about {axis}; X, Y as in set-up B"
        if sheet.below
        else "X, Y of the board frame"
    )
    css, described = stylesheet({"plan": 1 / scale}, bands.count), f"Plan {sheet.digest}. {up}."
    title, says = f"{job.title}: {sheet.title}", f"{sheet.message}; {under}"
    svg = new_sheet(title, up, says, css=css, description=described)
    view = PlanView.fitted(svg, board.blank.bounds, _PLAN, scale)
    with svg.defs():
        for k, group in enumerate(_by_floor(sheet)):
            svg.clip_area(
                f"castings-{k}",
                "".join(polygon_path(sheet.seen(c.area), view.places) for c in group),
            )
    _plan(view, sheet, bands)
    draw_unrolled(svg, sheet)
    draw_table(svg, sheet)
    draw_side(svg, sheet, bands)
    return units_of(sheet.job.units).text(svg.render())


def _by_floor(sheet: MapSheet) -> list[list[Casting]]:
    """Return the castings in groups with the same field of heights: those with the same floor, and
    each one with a measured floor alone."""

    def key(casting: Casting) -> tuple[float, str]:
        return round(casting.floor, 6), casting.id if casting.id in sheet.gauged else ""

    return [list(group) for _, group in itertools.groupby(sorted(sheet.castings, key=key), key=key)]


def _plan(view: PlanView, sheet: MapSheet, bands: Bands) -> None:
    svg, board = view.svg, sheet.board
    x0, y0, x1, y1 = board.blank.bounds
    with svg.group("plan", id="plan", transform=view.transform):
        draw_blank(svg, board.blank.bounds)
        for k, group in enumerate(_by_floor(sheet)):
            field = laid_over(x1 - x0, y1 - y0, sheet.over(group[0]))
            with svg.group("bands", clip_path=f"url(#castings-{k})"):
                draw_bands(view, field, bands, sheet.darker == "high")
        # Contour lines over the whole blank, for the groove's floor: they show how the blank lies.
        marks = draw_lines(view, laid_over(x1 - x0, y1 - y0, sheet.over(sheet.castings[0])))
        for casting in sheet.castings:
            svg.path(
                polygon_path(sheet.seen(casting.area), view.places),
                "casting narrow",
                id=f"casting-{casting.id}",
            )
        svg.path(
            polygon_path(sheet.seen(board.outline), view.places), "outline uncut", id="outline"
        )
        for dowel in board.dowels:
            draw_dowel(svg, sheet.pose.place(*dowel.at), dowel.diameter)
        for place, _ in _seal_places(sheet):
            svg.path(polygon_path(place, view.places), "seal wide")
    labels = Labels(svg, Box(MAIN.x0 + 1, MAIN.y0 + 1, MAIN.x1 - 1, view.extent.y1 + 6))
    shapes = [sheet.seen(casting.area) for casting in sheet.castings]
    labels.lines = lines_to_avoid(view, [board.blank, *shapes], [])
    _corner_words(view, labels)
    for dowel in board.dowels:
        x, y = view.sheet(*sheet.pose.place(*dowel.at))
        labels.block(Box(x, y, x, y).grown(dowel.diameter / 2 * view.scale + 0.3))
    _figures(view, sheet, labels)
    set_figures(view, labels, marks)
    says = f"contour lines over the whole blank for the groove's floor; {UNIT}"
    scale_note(svg, MAIN.x0 + 19, view.extent.y1 + 9, view.scale, says)


def _corner_words(view: PlanView, labels: Labels) -> None:
    for text, x, anchor in (
        ("X-", view.extent.x0 - 1.5, "end"),
        ("X+", view.extent.x1 + 1.5, "start"),
    ):
        y = (view.extent.y0 + view.extent.y1) / 2
        labels.block(
            view.svg.text(x, y + 1.2, text, "label strong halo", size=SMALL, anchor=anchor)
        )
    for text, y in (("Y+", view.extent.y0 - 1.5), ("Y-", view.extent.y1 + 3.6)):
        x = (view.extent.x0 + view.extent.x1) / 2
        labels.block(view.svg.text(x, y, text, "label strong halo", size=SMALL, anchor="middle"))


def _figures(view: PlanView, sheet: MapSheet, labels: Labels) -> None:
    """Set names and figures: first places to seal, then plugs, then the numbered places of the
    ring, so that the most important ones find room."""
    ring, *plugs = sheet.sampled
    wide = _ring_width(sheet) / 2 * view.scale
    for _, least in _seal_places(sheet):
        x, y = view.sheet(*sheet.at(least))
        labels.place(
            x, y, f"seal here: {mm(least.least):.2f}", wide + 1.0, class_="label strong halo"
        )
    for casting, sampled in zip(sheet.castings[1:], plugs, strict=True):
        x, y = view.sheet(*sheet.at(sampled.stations[0]))
        x0, y0, x1, y1 = casting.area.bounds
        radius = max(x1 - x0, y1 - y0) / 2 * view.scale
        labels.place(
            x, y, f"{sampled.id} {mm(sampled.least.least):.2f}", radius, class_="label name halo"
        )
    for number_, k in enumerate(sheet.marked, start=1):
        station = ring.stations[k]
        x, y = view.sheet(*sheet.at(station))
        labels.place(x, y, f"{number_}: {mm(station.least):.2f}", wide, class_="figure halo")


def _ring_width(sheet: MapSheet) -> float:
    return sheet.job.groove.width


def _seal_places(sheet: MapSheet) -> list[tuple[Polygon, Station]]:
    """Return outlines around what is to be sealed, neighbouring stations together, each with its
    thinnest station."""
    out: list[tuple[Polygon, Station]] = []
    around = _ring_width(sheet) / 2 + 3.0
    ring = sheet.sampled[0].stations
    for run in _runs([s for c, s in sheet.seal if c == 0], len(ring)):
        points = [sheet.at(ring[k]) for k in run]
        shape = LineString(points) if len(points) > 1 else Point(points[0])
        out.append(
            (shape.buffer(around), min((ring[k] for k in run), key=lambda s: round(s.least, 6)))
        )
    for c in sorted({c for c, _ in sheet.seal if c > 0}):
        out.append((sheet.seen(sheet.castings[c].area).buffer(3.0), sheet.sampled[c].least))
    return out


def _runs(stations: Sequence[int], count: int) -> list[list[int]]:
    """Return neighbouring numbers in runs, across the end of the ring too; gaps of one are
    bridged."""
    runs: list[list[int]] = []
    for k in sorted(stations):
        if runs and k - runs[-1][-1] <= 2:
            runs[-1].extend(range(runs[-1][-1] + 1, k + 1))
        else:
            runs.append([k])
    if len(runs) > 1 and runs[0][0] + count - runs[-1][-1] <= 2:
        runs[0] = runs.pop() + runs[0]
    return runs
