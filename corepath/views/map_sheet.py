"""One sheet with a map: plan with bands and contour lines, the ring unrolled, a table, legend and cautions.

Plan in the frame of the set-up drawn, mm: the board's, or for a map seen from below the bed frame of B, mirrored by the
flip with words that read the right way round. Sheet mm as in `corepath.views.sheet`. The ring is unrolled from its
first station on; numbered marks on the plan and below the curve are the same places.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, affinity

from corepath.board.model import Board
from corepath.job.model import Job
from corepath.stackup.showing import MappedCasting, Over, Sampled, ShowRow, Station
from corepath.views.cuts import Bands
from corepath.views.field import bands_of, draw_bands, draw_lines, laid_over
from corepath.views.marks import lines_to_avoid, set_figures
from corepath.views.plan import PlanView
from corepath.views.sheet import (
    HEIGHT,
    MAIN,
    NORMAL,
    SIDE,
    SMALL,
    WIDTH,
    Labels,
    best_scale,
    heading,
    scale_bar,
    scale_words,
    side_block,
)
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document, number, polygon_path, wrapped

__all__ = ["MapSheet", "draw_map"]

_PLAN = Box(MAIN.x0 + 12, MAIN.y0 + 8, MAIN.x1 - 11, MAIN.y0 + 122)
_CURVE = Box(MAIN.x0 + 18, MAIN.y0 + 146, MAIN.x1 - 22, MAIN.y0 + 190)
_TABLE = Box(MAIN.x0, MAIN.y0 + 200, MAIN.x1, MAIN.y1)
_MARKS = 16
_MOST_PLANES = 9
_PITCH = 4.4


@dataclass(frozen=True, slots=True)
class MapSheet:
    """All that one map shows. `sampled` goes with `castings`; `seal` are (casting, station) to be sealed."""

    job: Job
    board: Board
    castings: Sequence[MappedCasting]
    title: str
    says: str
    darker: Literal["low", "high"]
    below: bool
    figure: Callable[[MappedCasting], Over]
    sampled: Sequence[Sampled]
    seal: Sequence[tuple[int, int]]
    limit: float | None
    rows: Sequence[ShowRow]
    planned_stop: int | None
    cautions: Sequence[str]
    digest: str

    @property
    def mirror(self) -> tuple[float, float]:
        if not self.below:
            return 1.0, 1.0
        return (1.0, -1.0) if self.job.machine.flip_about == "x" else (-1.0, 1.0)

    def seen(self, shape: Polygon) -> Polygon:
        return affinity.scale(shape, *self.mirror, origin=(0, 0)) if self.below else shape

    def over(self, casting: MappedCasting) -> Over:
        """The figure over places of the frame drawn."""
        fx, fy = self.mirror
        plain = self.figure(casting)
        return lambda x, y: plain(np.asarray(x) * fx, np.asarray(y) * fy)

    def at(self, station: Station) -> tuple[float, float]:
        fx, fy = self.mirror
        return station.x * fx, station.y * fy

    @property
    def marked(self) -> list[int]:
        """The ring's stations that bear a number."""
        count = len(self.sampled[0].stations)
        return [round(k * count / _MARKS) for k in range(_MARKS)]


def draw_map(sheet: MapSheet) -> str:
    """The map as SVG text."""
    board, job = sheet.board, sheet.job
    x0, y0, x1, y1 = board.blank.bounds
    scale = best_scale(x1 - x0, y1 - y0, _PLAN)
    stations = [station for sampled in sheet.sampled for station in sampled.stations]
    bands = bands_of(min(s.least for s in stations), max(s.most for s in stations))
    up = "SEEN FROM BELOW" if sheet.below else "DECK UP"
    svg = Document(
        WIDTH,
        HEIGHT,
        f"{job.title}: {sheet.title}",
        stylesheet({"plan": 1 / scale}, bands.count),
        f"Plan {sheet.digest}. {up}.",
    )
    axis = job.machine.flip_about.upper()
    under = (
        f"as the blank lies turned over about {axis}; X, Y as in set-up B" if sheet.below else "X, Y of the board frame"
    )
    heading(svg, f"{job.title}: {sheet.title}", up, f"{sheet.says}; {under}")
    view = PlanView.fitted(svg, board.blank.bounds, _PLAN, scale)
    with svg.defs():
        for k, group in enumerate(_by_floor(sheet)):
            svg.clip_area(f"castings-{k}", "".join(polygon_path(sheet.seen(c.area), view.places) for c in group))
    _plan(view, sheet, bands)
    _unrolled(svg, sheet)
    _table(svg, sheet)
    _side(svg, sheet, bands, view)
    return svg.render()


def _by_floor(sheet: MapSheet) -> list[list[MappedCasting]]:
    """Castings with one floor have one field of heights."""
    ordered = sorted(sheet.castings, key=lambda casting: round(casting.floor, 6))
    return [list(group) for _, group in itertools.groupby(ordered, key=lambda casting: round(casting.floor, 6))]


def _plan(view: PlanView, sheet: MapSheet, bands: Bands) -> None:
    svg, board = view.svg, sheet.board
    x0, y0, x1, y1 = board.blank.bounds
    with svg.group("plan", id="plan", transform=view.transform):
        svg.add("rect", class_="blank wood wide", id="blank", x=x0, y=y0, width=x1 - x0, height=y1 - y0)
        for k, group in enumerate(_by_floor(sheet)):
            field = laid_over(x1 - x0, y1 - y0, sheet.over(group[0]))
            with svg.group("bands", clip_path=f"url(#castings-{k})"):
                draw_bands(view, field, bands, sheet.darker == "high")
        marks = draw_lines(view, laid_over(x1 - x0, y1 - y0, sheet.over(sheet.castings[0])))
        for casting in sheet.castings:
            svg.path(polygon_path(sheet.seen(casting.area), view.places), "casting narrow", id=f"casting-{casting.id}")
        svg.path(polygon_path(sheet.seen(board.outline), view.places), "outline uncut", id="outline")
        for dowel in board.dowels:
            x, y = dowel.at[0] * sheet.mirror[0], dowel.at[1] * sheet.mirror[1]
            svg.add("circle", class_="dowel narrow", cx=x, cy=y, r=dowel.diameter / 2)
        for place, _ in _seal_places(sheet):
            svg.path(polygon_path(place, view.places), "seal wide")
    labels = Labels(svg, Box(MAIN.x0 + 1, MAIN.y0 + 1, MAIN.x1 - 1, view.extent.y1 + 6), [])
    shapes = [sheet.seen(casting.area) for casting in sheet.castings]
    labels.lines = lines_to_avoid(view, [board.blank, *shapes], [])
    _corner_words(view, labels)
    for dowel in board.dowels:
        x, y = view.sheet(dowel.at[0] * sheet.mirror[0], dowel.at[1] * sheet.mirror[1])
        labels.block(Box(x, y, x, y).grown(dowel.diameter / 2 * view.scale + 0.3))
    _figures(view, sheet, labels)
    set_figures(view, labels, marks)
    bar = scale_bar(svg, MAIN.x0 + 19, view.extent.y1 + 9, view.scale)
    note = f"scale {scale_words(view.scale)} at A3; contour lines over the whole blank for the groove's floor; mm"
    svg.text(bar + 14, view.extent.y1 + 9, note, "label quiet", size=SMALL)


def _corner_words(view: PlanView, labels: Labels) -> None:
    for text, x, anchor in (("X-", view.extent.x0 - 1.5, "end"), ("X+", view.extent.x1 + 1.5, "start")):
        y = (view.extent.y0 + view.extent.y1) / 2
        labels.block(view.svg.text(x, y + 1.2, text, "label strong halo", size=SMALL, anchor=anchor))
    for text, y in (("Y+", view.extent.y0 - 1.5), ("Y-", view.extent.y1 + 3.6)):
        x = (view.extent.x0 + view.extent.x1) / 2
        labels.block(view.svg.text(x, y, text, "label strong halo", size=SMALL, anchor="middle"))


def _figures(view: PlanView, sheet: MapSheet, labels: Labels) -> None:
    """Names and figures: what is to be sealed first, then plugs, then the numbered places of the ring."""
    ring, *plugs = sheet.sampled
    wide = _ring_width(sheet) / 2 * view.scale
    for _, least in _seal_places(sheet):
        x, y = view.sheet(*sheet.at(least))
        labels.place(x, y, f"seal here: {least.least:.2f}", wide + 1.0, class_="label strong halo")
    for casting, sampled in zip(sheet.castings[1:], plugs, strict=True):
        x, y = view.sheet(*sheet.at(sampled.stations[0]))
        x0, y0, x1, y1 = casting.area.bounds
        radius = max(x1 - x0, y1 - y0) / 2 * view.scale
        labels.place(x, y, f"{sampled.id} {sampled.least.least:.2f}", radius, class_="label name halo")
    for number_, k in enumerate(sheet.marked, start=1):
        station = ring.stations[k]
        x, y = view.sheet(*sheet.at(station))
        labels.place(x, y, f"{number_}: {station.least:.2f}", wide, class_="figure halo")


def _ring_width(sheet: MapSheet) -> float:
    return sheet.job.groove.inside + sheet.job.groove.outside


def _seal_places(sheet: MapSheet) -> list[tuple[Polygon, Station]]:
    """Outlines round what is to be sealed, neighbouring stations together, with the least of each."""
    out: list[tuple[Polygon, Station]] = []
    around = _ring_width(sheet) / 2 + 3.0
    ring = sheet.sampled[0].stations
    for run in _runs([s for c, s in sheet.seal if c == 0], len(ring)):
        points = [sheet.at(ring[k]) for k in run]
        shape = LineString(points) if len(points) > 1 else Point(points[0])
        out.append((shape.buffer(around), min((ring[k] for k in run), key=lambda s: round(s.least, 6))))
    for c in sorted({c for c, _ in sheet.seal if c > 0}):
        out.append((sheet.seen(sheet.castings[c].area).buffer(3.0), sheet.sampled[c].least))
    return out


def _runs(stations: Sequence[int], count: int) -> list[list[int]]:
    """Neighbouring numbers together, round the end too; gaps of one are bridged."""
    runs: list[list[int]] = []
    for k in sorted(stations):
        if runs and k - runs[-1][-1] <= 2:
            runs[-1].extend(range(runs[-1][-1] + 1, k + 1))
        else:
            runs.append([k])
    if len(runs) > 1 and runs[0][0] + count - runs[-1][-1] <= 2:
        runs[0] = runs.pop() + runs[0]
    return runs


def _unrolled(svg: Document, sheet: MapSheet) -> None:
    """The ring's figure all the way round, with the limit or the skim planes."""
    ring = sheet.sampled[0].stations
    values = np.array([station.least for station in ring] + [ring[0].least])
    low, high = float(values.min()), float(values.max())
    room = max(high - low, 0.1) * 0.15
    lines = _planes_near(sheet.rows, low, high)
    if sheet.limit is not None:
        lines = [(sheet.limit, "least_floor")]
    low, high = min([low, *(z for z, _ in lines)]) - room, max([high, *(z for z, _ in lines)]) + room
    box = _CURVE

    def y(z: float) -> float:
        return box.y1 - (z - low) / (high - low) * box.height

    with svg.group("unrolled", id="unrolled"):
        svg.text(
            MAIN.x0 + 4, box.y0 - 3, "Along the groove, all round: the least across it", "label strong", size=NORMAL
        )
        svg.add("rect", class_="narrow", x=box.x0, y=box.y0, width=box.width, height=box.height)
        for z, words in lines:
            svg.line(box.x0, y(z), box.x1, y(z), "hidden")
            svg.text(box.x1 + 1.5, y(z) + 1.1, words, size=SMALL)
            svg.text(box.x0 - 1.5, y(z) + 1.1, f"{z:.2f}", "figure quiet", size=SMALL, anchor="end")
        placed = [z for z, _ in lines]
        for z in (float(values.min()), float(values.max())):
            if all(abs(y(z) - y(other)) > 3.4 for other in placed):
                svg.text(box.x0 - 1.5, y(z) + 1.1, f"{z:.2f}", "figure", size=SMALL, anchor="end")
                placed.append(z)
        _curve(svg, box, values, y, sheet.marked)


def _planes_near(rows: Sequence[ShowRow], low: float, high: float) -> list[tuple[float, str]]:
    """The planes between `low` and `high` and the next beyond on either side, as many as can be told apart."""
    above = [row for row in rows if row.plane > high][-1:]
    below = [row for row in rows if row.plane < low][:1]
    near = [*above, *(row for row in rows if low <= row.plane <= high), *below]
    every = max(1, math.ceil(len(near) / _MOST_PLANES))
    return [(row.plane, f"pass {row.number}") for row in near[::every]]


def _curve(
    svg: Document, box: Box, values: NDArray[np.float64], y: Callable[[float], float], marked: Sequence[int]
) -> None:
    xs = box.x0 + box.width * np.arange(len(values)) / (len(values) - 1)
    points = " ".join(f"{number(float(x))} {number(y(float(z)))}" for x, z in zip(xs, values, strict=True))
    svg.path("M" + points, "curve wide")
    for count, k in enumerate(marked, start=1):
        svg.line(float(xs[k]), box.y1, float(xs[k]), box.y1 + 1.2, "narrow")
        svg.text(float(xs[k]), box.y1 + 4.4, str(count), "label quiet", size=SMALL, anchor="middle")


def _table(svg: Document, sheet: MapSheet) -> None:
    """What shows after each pass; else the least and the most of each casting. In two columns."""
    lines = _show_lines(sheet) if sheet.rows else _casting_lines(sheet)
    title = (
        "What shows after each pass, nominal" if sheet.rows else "Each casting: least and most, and where the least is"
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
    lines = []
    for row in sheet.rows:
        stop = " (planned stop)" if row.number == sheet.planned_stop else ""
        if not row.plugs and not row.hidden:
            plugs = ""
        elif not row.hidden:
            plugs = "; all plugs"
        else:
            plugs = "; plugs " + (", ".join(row.plugs) if row.plugs else "none")
        lines.append(f"pass {row.number} at {row.plane:.2f}{stop}: {row.ring:.0%} of the ring{plugs}")
    return lines


def _casting_lines(sheet: MapSheet) -> list[str]:
    lines = []
    for sampled in sheet.sampled:
        least, most = sampled.least, sampled.most
        x, y = sheet.at(least)
        place = f", least at X{number(x, 0)} Y{number(y, 0)}" if len(sampled.stations) > 1 else ""
        lines.append(f"{sampled.id}: {least.least:.2f} to {most.most:.2f}{place}")
    return lines


def _side(svg: Document, sheet: MapSheet, bands: Bands, view: PlanView) -> None:
    blank = sheet.job.blank
    rows = [
        ("job", sheet.job.title),
        ("map", sheet.title),
        ("blank", f"{number(blank.length)} × {number(blank.width)} × {number(blank.thickness)}, {blank.wood}"),
        ("plan", sheet.digest),
    ]
    bottom = side_block(svg, rows)
    y = _legend(svg, sheet, bands)
    _mind(svg, sheet, y + 2, bottom)


def _legend(svg: Document, sheet: MapSheet, bands: Bands) -> float:
    y = SIDE.y0
    with svg.group("legend", id="legend"):
        svg.text(SIDE.x0 + 2, y + 4, "On groove and plugs, mm", "label strong", size=NORMAL)
        y += 7.0
        for band in range(bands.count):
            kind = bands.count - 1 - band if sheet.darker == "high" else band
            svg.add("rect", class_=f"swatch f{kind}", x=SIDE.x0 + 3, y=y, width=13, height=4.4)
            text = f"{bands.bounds[band]:.2f} to {bands.bounds[band + 1]:.2f}"
            svg.text(SIDE.x0 + 19, y + 3.4, text, "figure", size=SMALL)
            y += 5.2
        samples = [("contour", "contour line, with its figure"), ("uncut", "outline of the board")]
        if sheet.seal:
            samples.append(("wide", "round it: seal here, from below"))
        for kind_, words in samples:
            y += 5.2
            svg.line(SIDE.x0 + 3, y - 1.1, SIDE.x0 + 16, y - 1.1, kind_)
            svg.text(SIDE.x0 + 19, y, words, size=SMALL)
    return y


def _mind(svg: Document, sheet: MapSheet, y: float, bottom: float) -> None:
    """Cautions, as many lines as there is room for."""
    said = list(sheet.cautions)
    if sheet.seal:
        said.insert(0, _SEAL)
    lines = [text for line in said for text in ("– " + wrapped(line, SMALL, SIDE.width - 8)[0], *_rest(line))]
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


_SEAL = "Tape or seal the marked places from below before the pour, so that no resin runs out through thin wood."
