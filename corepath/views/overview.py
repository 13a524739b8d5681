"""The overview: all features over the blank in the board frame, the stack-up to scale in height, checks and files.

Board frame, mm: X along the length, Y across, origin at the middle of the blank, deck up. In the stack-up
heights count from the finished bottom at the planned stop; lengths there are a scheme, not to scale.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from shapely import Point

from corepath.board.model import Board
from corepath.job.model import Job
from corepath.motion.program import Program
from corepath.stackup.check import Check
from corepath.views.plan import PlanView, draw_contours, name_features, set_figures
from corepath.views.scene import Scene, Stack
from corepath.views.section import Level, name_levels, spread_out
from corepath.views.sheet import (
    FRAME,
    HEIGHT,
    MAIN,
    NORMAL,
    SIDE,
    SMALL,
    WIDTH,
    Labels,
    best_scale,
    dimension_across,
    dimension_along,
    heading,
    rows_block,
    scale_bar,
    scale_words,
)  # fmt: skip
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document, number, polygon_path, wrapped
from corepath.work.model import Work

__all__ = ["overview"]

_PLAN = Box(MAIN.x0 + 17, MAIN.y0 + 12, MAIN.x1 - 18, MAIN.y0 + 116)
_STACK = Box(MAIN.x0, MAIN.y0 + 150, MAIN.x1, MAIN.y0 + 222)
_TABLE = Box(MAIN.x0, MAIN.y0 + 224, MAIN.x1, MAIN.y1)


def overview(
    job: Job,
    board: Board,
    stackup: Stack,
    works: Sequence[Work],
    programs: Sequence[Program] = (),
    *,
    digest: str,
    checks: Sequence[Check] = (),
    minutes: Mapping[str, float] | None = None,
) -> str:
    """The overview as SVG text."""
    scene = Scene(job, board, stackup, "A")
    x0, y0, x1, y1 = board.blank.bounds
    scale = best_scale(x1 - x0, y1 - y0, _PLAN)
    svg = Document(WIDTH, HEIGHT, f"{job.title}: overview", stylesheet(1 / scale, 2), f"Plan {digest}. Deck up.")
    with svg.defs():
        svg.hatch("resin-sheet", 2.2, "hatching")
        with svg.group("plan"):
            svg.hatch("resin-plan", 2.2 / scale, "hatching")
    flip = f"turned over about {job.machine.flip_about.upper()} for set-up B"
    heading(
        svg,
        f"{job.title}: overview",
        "BOARD FRAME, DECK UP",
        f"X along the length, Y across, from the middle of the blank; {flip}",
    )
    view = PlanView.fitted(svg, board.blank.bounds, _PLAN, scale)
    _plan(view, scene)
    _stack(svg, scene)
    _places(svg, scene)
    _side(svg, scene, works, programs, digest, checks, minutes or {})
    return svg.render()


def _plan(view: PlanView, scene: Scene) -> None:
    svg, board = view.svg, scene.board
    heights = np.asarray(board.deck.grid)
    with svg.group("plan", id="plan", transform=view.transform):
        x0, y0, x1, y1 = board.blank.bounds
        svg.add("rect", class_="blank wood wide", id="blank", x=x0, y=y0, width=x1 - x0, height=y1 - y0)
        for casting in board.castings:
            svg.path(
                polygon_path(casting.area, view.places), f"{casting.kind} resin narrow", id=f"casting-{casting.id}"
            )
            if casting.plug is not None:
                centre = casting.area.centroid
                svg.add("circle", class_="bolt uncut", cx=centre.x, cy=centre.y, r=casting.plug.bolt_hole / 2)
        marks = draw_contours(view, board.deck, float(heights.min()), float(heights.max()))
        svg.path(polygon_path(board.outline, view.places), "outline uncut", id="outline")
        for place in board.places:
            with svg.group("insert", id=f"insert-{place.id}"):
                svg.add("circle", class_="seat narrow", cx=place.x, cy=place.y, r=place.seat / 2)
                svg.add("circle", class_="bore narrow", cx=place.x, cy=place.y, r=place.bore / 2)
        for k, dowel in enumerate(board.dowels, start=1):
            svg.add(
                "circle", class_="dowel solid", id=f"dowel-{k}", cx=dowel.at[0], cy=dowel.at[1], r=dowel.diameter / 2
            )
        svg.line(x0 - 2 * view.unit, 0, x1 + 2 * view.unit, 0, "centre")
        svg.line(0, y0 - 2 * view.unit, 0, y1 + 2 * view.unit, "centre")
    labels = Labels(svg, Box(MAIN.x0 + 1, view.extent.y0, view.extent.x1, view.extent.y1), [])
    _dimensions(view, scene)
    name_features(view, labels, scene)
    set_figures(view, labels, marks)


def _dimensions(view: PlanView, scene: Scene) -> None:
    """Blank and board over all, and the places of all hardware as running dimensions from the middle."""
    svg, board = view.svg, scene.board
    bx0, by0, bx1, by1 = board.blank.bounds
    ox0, oy0, ox1, oy1 = board.outline.bounds
    left, top = view.sheet(bx0, by1)
    right, bottom = view.sheet(bx1, by0)
    with svg.group("dimensions", id="dimensions"):
        upper, lower = view.sheet(ox0, oy1), view.sheet(ox1, oy0)
        dimension_along(svg, upper[0], lower[0], top, top - 5.5, f"board {number(ox1 - ox0, 1)}")
        dimension_across(svg, upper[1], lower[1], left, left - 4.0, number(oy1 - oy0, 1))
        dimension_across(svg, top, bottom, left, left - 10.5, number(by1 - by0, 1))
        dimension_along(svg, left, right, bottom, bottom + 19.5, f"blank {number(bx1 - bx0, 1)}")
        _running(view, scene, bottom, right)
    bar = scale_bar(svg, MAIN.x0 + 19, bottom + 26.0, view.scale)
    note = f"scale {scale_words(view.scale)} at A3; places as running dimensions from the middle; figures in mm"
    svg.text(bar + 14, bottom + 26.0, note, "label quiet", size=SMALL)


def _running(view: PlanView, scene: Scene, bottom: float, right: float) -> None:
    svg = view.svg
    spots = [(c.area.centroid.x, c.area.centroid.y) for c in scene.board.castings if c.kind == "plug"]
    spots += [(p.x, p.y) for p in scene.places] + [(d.x, d.y) for d in scene.dowels] + [(0.0, 0.0)]
    xs = sorted({round(x, 1) for x, _ in spots})
    ys = sorted({round(y, 1) for _, y in spots}, reverse=True)
    wanted = [view.sheet(x, 0.0)[0] for x in xs]
    for x, at, y in zip(wanted, spread_out(wanted, 4.2, view.extent.x0 - 20, view.extent.x1 + 4), xs, strict=True):
        svg.path(f"M{number(x)} {number(bottom + 1)}V{number(bottom + 2.5)}L{number(at)} {number(bottom + 5)}", "faint")
        svg.text(at + 1.1, bottom + 6, number(y, 1), "dimension", size=SMALL, anchor="end", upright=False)
    wanted = [view.sheet(0.0, y)[1] for y in ys]
    for y, at, value in zip(wanted, spread_out(wanted, 4.2, view.extent.y0, view.extent.y1), ys, strict=True):
        svg.path(f"M{number(right + 1)} {number(y)}H{number(right + 2.5)}L{number(right + 5)} {number(at)}", "faint")
        svg.text(right + 6, at + 1.1, number(value, 1), "dimension", size=SMALL)


def _stack(svg: Document, scene: Scene) -> None:
    """The stack-up as a scheme: heights to scale, lengths not."""
    heights = _Heights(scene)
    room = Box(_STACK.x0 + 8, _STACK.y0 + 12, _STACK.x1 - 92, _STACK.y1 - 3)
    scale = room.height / (heights.raw_top - heights.raw_bottom)
    factor = next(k for k in (10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0, 1.5, 1.0, 0.5, 0.1) if k <= scale)
    base = room.y1 - (room.height - (heights.raw_top - heights.raw_bottom) * factor) / 2 + heights.raw_bottom * factor

    def y(z: float) -> float:
        return base - z * factor

    with svg.group("stack-up", id="stack-up"):
        svg.line(_STACK.x0, _STACK.y0 - 1, SIDE.x0 - 1, _STACK.y0 - 1, "narrow")
        words = f"Stack-up: heights {number(factor)}:1, lengths a scheme; mm above the finished bottom"
        svg.text(_STACK.x0 + 4, _STACK.y0 + 4, words, "label strong", size=NORMAL)
        x0, x1 = room.x0, room.x1
        svg.add(
            "rect",
            class_="wood narrow",
            x=x0,
            y=y(heights.raw_top),
            width=x1 - x0,
            height=y(heights.raw_bottom) - y(heights.raw_top),
        )
        _scheme(svg, scene, heights, y, x0, x1)
        name_levels(svg, heights.levels(), x1, x0, Box(_STACK.x0, _STACK.y0 + 4, _STACK.x1, _STACK.y1), base, factor)


class _Heights:
    """Heights above the finished bottom at the planned stop, nominal, mm."""

    def __init__(self, scene: Scene) -> None:
        job, skim = scene.job, scene.stack.skim
        grid = np.asarray(scene.board.deck.grid)
        self.job = job
        self.stop, self.lowest = skim.planned_plane, skim.lowest_plane
        self.stop_pass = skim.planned_stop
        self.raw_top = self.stop
        self.raw_bottom = self.stop - job.blank.thickness
        self.floor = self.stop - (job.blank.thickness - scene.stack.floor_of("groove"))
        self.depth = job.blank.thickness - scene.stack.floor_of("groove")
        self.deck, self.edge = float(grid.max()), float(grid.min())
        self.resin = self.raw_top - job.cast.pour_short
        insert = scene.board.places[0].insert if scene.board.places else None
        self.seat = None if insert is None else insert.flange_thickness + insert.recess
        self.barrel = None if insert is None else insert.length + insert.recess
        self.insert_id = scene.board.places[0].id if scene.board.places else ""

    def levels(self) -> list[Level]:
        out = [
            Level(self.raw_top, f"raw top; blank {self.job.blank.thickness:.2f} thick"),
            Level(self.deck, "deck, highest", True),
            Level(self.edge, "deck at the edge", True),
            Level(self.stop - self.lowest, f"lowest plane, {self.lowest:.2f} in B"),
            Level(0.0, f"planned stop, {self.stop:.2f} in B, pass {self.stop_pass}", True),
            Level(self.floor, f"floor, {self.job.groove.floor:.2f} in A; groove {self.depth:.2f} deep", True),
            Level(self.raw_bottom, "raw bottom"),
        ]
        if self.seat is not None and self.barrel is not None:
            out += [
                Level(self.seat, f"seat of {self.insert_id}"),
                Level(self.barrel, f"barrel's end of {self.insert_id}"),
            ]
        return out


def _scheme(svg: Document, scene: Scene, heights: _Heights, y: Callable[[float], float], x0: float, x1: float) -> None:
    job = scene.job
    groove = (x0 + 26, x0 + 26 + 1.6 * (job.groove.inside + job.groove.outside))
    edge_line = groove[0] + 1.6 * job.groove.outside
    columns = [groove, (x0 + 92, x0 + 112)] if any(c.kind == "plug" for c in scene.board.castings) else [groove]
    for a, b in columns:
        svg.add(
            "rect",
            class_="void narrow",
            x=a,
            y=y(heights.raw_top),
            width=b - a,
            height=y(heights.resin) - y(heights.raw_top),
        )
        svg.add(
            "rect",
            class_="resin narrow",
            x=a,
            y=y(heights.resin),
            width=b - a,
            height=y(heights.floor) - y(heights.resin),
        )
    if heights.seat is not None and heights.barrel is not None:
        svg.add("rect", class_="void narrow", x=x0 + 138, y=y(heights.seat), width=30, height=y(0) - y(heights.seat))
        svg.add(
            "rect", class_="void narrow", x=x0 + 147, y=y(heights.barrel), width=12, height=y(0) - y(heights.barrel)
        )
    svg.line(edge_line, y(heights.raw_top) - 1, edge_line, y(heights.raw_bottom) + 1, "uncut")
    svg.line(x0, y(0), x1, y(0), "wide")
    svg.line(x0, y(heights.stop - heights.lowest), x1, y(heights.stop - heights.lowest), "hidden")
    svg.path(_profile(heights, y, x0, edge_line + 1.6 * min(job.deck.edge_band, 16.0), x0 + 88, x1), "deck wide")
    svg.text(
        (groove[0] + groove[1]) / 2,
        y(heights.raw_top) - 1.4,
        f"groove {number(job.groove.outside)} + {number(job.groove.inside)}",
        "label halo",
        size=SMALL,
        anchor="middle",
    )
    if len(columns) > 1:
        svg.text(x0 + 102, y(heights.raw_top) - 1.4, "plug", "label halo", size=SMALL, anchor="middle")
    if heights.seat is not None:
        svg.text(x0 + 153, y(heights.raw_top) - 1.4, "insert", "label halo", size=SMALL, anchor="middle")
    svg.text(x0 + 2, y(heights.raw_top) - 1.4, "rim", "label halo", size=SMALL)


def _profile(heights: _Heights, y: Callable[[float], float], x0: float, band: float, full: float, x1: float) -> str:
    """The deck from the blank's edge over the edge band up to its full height, as the blend rises."""
    points = [(x0, y(heights.edge)), (band, y(heights.edge))]
    for k in range(1, 25):
        u = k / 24
        rise = 35 * u**4 - 84 * u**5 + 70 * u**6 - 20 * u**7
        points.append((band + (full - band) * u, y(heights.edge + (heights.deck - heights.edge) * rise)))
    points.append((x1, y(heights.deck)))
    return "M" + "L".join(f"{number(a)} {number(b)}" for a, b in points)


def _places(svg: Document, scene: Scene) -> None:
    """Each kind of hardware with its measures, pitch and least distance from the outline."""
    job, board = scene.job, scene.board
    lines = [
        f"Groove {number(job.groove.outside + job.groove.inside)} wide: {number(job.groove.outside)} outside the outline, {number(job.groove.inside)} inside."
    ]
    for plug in job.plug:
        areas = [c.area for c in board.castings if c.plug == plug]
        size = f"slot {number(plug.slot)} × {number(plug.diameter)}" if plug.slot else f"⌀{number(plug.diameter)}"
        edge = min((board.outline.exterior.distance(area) for area in areas), default=0.0)
        lines.append(
            f"{plug.name}: {len(plug.at)} × plug {size}, bolt hole {number(plug.bolt_hole)}{_pitch(plug.at)}; {number(edge, 1)} from the outline."
        )
    for insert in job.insert:
        rings = [Point(x, y).buffer((insert.flange + insert.clearance) / 2) for x, y in insert.at]
        edge = min(board.outline.exterior.distance(ring) for ring in rings)
        seat, bore = insert.flange + insert.clearance, insert.barrel + insert.clearance
        lines.append(
            f"{insert.name}: {len(insert.at)} × seat ⌀{number(seat)}, bore ⌀{number(bore)}{_pitch(insert.at)}; {number(edge, 1)} from the outline."
        )
    for k, dowel in enumerate(job.dowel, start=1):
        edge = board.blank.exterior.distance(Point(*dowel.at)) - dowel.diameter / 2
        lines.append(
            f"Dowel {k}: ⌀{number(dowel.diameter)} at X {number(dowel.at[0])} Y {number(dowel.at[1])}; {number(edge, 1)} from the blank's edge."
        )
    _columns(svg, "Measures", lines)


def _pitch(at: Sequence[tuple[float, float]]) -> str:
    """Pitch of a group in X and Y where it has one: the least distances between different X and Y."""
    parts = []
    for axis, name in enumerate("XY"):
        values = sorted({round(p[axis], 3) for p in at})
        if len(values) > 1:
            parts.append(f"{number(min(b - a for a, b in zip(values, values[1:], strict=False)))} in {name}")
    return "; pitch " + ", ".join(parts) if parts else ""


def _columns(svg: Document, title: str, lines: Sequence[str]) -> None:
    width = (_TABLE.width - 14) / 2
    laid = [text for line in lines for text in wrapped(line, SMALL, width)]
    rows = int((_TABLE.height - 10) // 4.4)
    if len(laid) > 2 * rows:
        laid = [*laid[: 2 * rows - 1], "and more: see the job file"]
    with svg.group("measures", id="measures"):
        svg.line(_TABLE.x0, _TABLE.y0 - 1, SIDE.x0 - 1, _TABLE.y0 - 1, "narrow")
        svg.text(_TABLE.x0 + 4, _TABLE.y0 + 4, title, "label strong", size=NORMAL)
        for k, line in enumerate(laid):
            column, row = divmod(k, rows)
            svg.text(_TABLE.x0 + 4 + column * (width + 6), _TABLE.y0 + 9 + row * 4.4, line, size=SMALL)


def _side(
    svg: Document,
    scene: Scene,
    works: Sequence[Work],
    programs: Sequence[Program],
    digest: str,
    checks: Sequence[Check],
    minutes: Mapping[str, float],
) -> None:
    svg.line(SIDE.x0 - 1, FRAME.y0 + 19, SIDE.x0 - 1, FRAME.y1, "narrow")
    blank = scene.job.blank
    rows = [
        ("job", scene.job.title),
        ("blank", f"{number(blank.length)} × {number(blank.width)} × {number(blank.thickness)}, {blank.wood}"),
        ("core", f"{number(scene.job.board.thickness)} thick, {number(scene.job.board.edge_thickness)} at the edge"),
        ("resin", scene.job.cast.resin),
    ]
    if minutes:
        rows.append(
            (
                "cutting",
                f"{sum(minutes.values()):.0f} min for all files, the skim counted twice"
                if _twice(programs)
                else f"{sum(minutes.values()):.0f} min",
            )
        )
    rows.append(("plan", digest))
    bottom = rows_block(svg, Box(SIDE.x0, SIDE.y0, SIDE.x1 - 1, SIDE.y1 - 1), rows, "title")
    y = _checks(svg, checks)
    _files(svg, works, programs, minutes, y, bottom)


def _twice(programs: Sequence[Program]) -> bool:
    return any(p.combined for p in programs) and any(p.stem.find("-pass-") > 0 for p in programs)


def _checks(svg: Document, checks: Sequence[Check]) -> float:
    """Each check once, the one with the least to spare of its kind; returns the next y."""
    least: dict[str, Check] = {}
    order = {"fail": 0, "caution": 1, "ok": 2}
    for check in checks:
        held = least.get(check.id)
        if held is None or (order[check.verdict], check.worst - check.limit) < (
            order[held.verdict],
            held.worst - held.limit,
        ):
            least[check.id] = check
    y = SIDE.y0 + 4.5
    if not least:
        return SIDE.y0
    with svg.group("checks", id="checks"):
        svg.text(SIDE.x0 + 2, y, "Checks: nominal, limit", "label strong", size=NORMAL)
        for check in least.values():
            y += 4.5
            style = "label" if check.verdict == "ok" else "label strong"
            word = check.verdict if check.verdict == "ok" else check.verdict.upper()
            svg.text(SIDE.x0 + 2, y, word, f"{style} verdict {check.verdict}", size=SMALL)
            svg.text(SIDE.x0 + 20, y, check.id, style, size=SMALL)
            svg.text(SIDE.x1 - 20, y, f"{check.value:.2f}", style, size=SMALL, anchor="end")
            svg.text(
                SIDE.x1 - 3,
                y,
                f"{check.limit:.2f} {check.unit if check.unit != 'mm' else ''}".rstrip(),
                style,
                size=SMALL,
                anchor="end",
            )
    return y + 3


def _files(
    svg: Document,
    works: Sequence[Work],
    programs: Sequence[Program],
    minutes: Mapping[str, float],
    y: float,
    bottom: float,
) -> None:
    """Files in the order they run, with cutter and minutes."""
    listed = [(p.stem, p.cutter.describe()) for p in programs] or [(w.stem, w.cutter.describe()) for w in works]
    room = int((bottom - y - 8) // 4.5)
    shown = listed if len(listed) <= room else [*listed[: room - 1], ("… and more: see the report", "")]
    with svg.group("files", id="files"):
        svg.line(SIDE.x0 - 1, y - 1, SIDE.x1, y - 1, "narrow")
        y += 4
        svg.text(SIDE.x0 + 2, y, "Files, in the order they run", "label strong", size=NORMAL)
        for stem, cutter in shown:
            y += 4.5
            time = f"{minutes[stem]:.1f} min" if stem in minutes else ""
            svg.text(SIDE.x0 + 2, y, stem, size=SMALL)
            svg.text(SIDE.x0 + 43, y, cutter, "label quiet", size=SMALL)
            svg.text(SIDE.x1 - 3, y, time, size=SMALL, anchor="end")
