"""One drawing for each operation, for the person at the machine: plan, section, depths, cutter,
zero, what to watch.

The plan shows the blank as it lies in that set-up, seen from above by the operator: in B that is
its bottom, mirrored by the flip, though the words are not. Sheet mm, see `views.drawing_sheet`;
model mm in the bed frame of the set-up, see `views.drawings.scene`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.polylines import length
from corepath.job.pose import over_datum
from corepath.lengths import UNIT, feed, marked, mm, units_of
from corepath.motion.program import Corner, Pass, Program
from corepath.views.drawing_sheet import (
    FRAME,
    HEIGHT,
    MAIN,
    NORMAL,
    SIDE,
    SMALL,
    WIDTH,
    Labels,
    best_scale,
    heading,
    rows_block,
)
from corepath.views.drawings.cradle_section import laid_slice
from corepath.views.drawings.cuts import Bands, Strokes, strokes
from corepath.views.drawings.detail import detail_scale, draw_detail
from corepath.views.drawings.dimensions import BELOW, BESIDE, draw_dimensions, has_places
from corepath.views.drawings.legend import DepthDatum, depth_legend, kinds_legend
from corepath.views.drawings.marks import (
    lines_to_avoid,
    name_features,
    set_figures,
    touch_mark,
    zero_mark,
)
from corepath.views.drawings.overview import overview
from corepath.views.drawings.plan_view import (
    PlanView,
    draw_blank,
    draw_castings,
    draw_contours,
    draw_corners,
    draw_cuts,
    draw_depths,
    draw_features,
    draw_obstacles,
    draw_spared,
    draw_work,
)
from corepath.views.drawings.scene import DrawnOperation, DrawnPlan, Scene
from corepath.views.drawings.section import draw_section, section_of, section_y
from corepath.views.path_thinning import apart
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document, number, shown, wrapped
from corepath.work.keepoff import uncut
from corepath.work.works import Work

__all__ = ["drawings", "operation_drawing"]

_PLAN = Box(MAIN.x0 + 17, MAIN.y0 + 3, MAIN.x1 - 6, MAIN.y0 + 123)
_SECTION = Box(MAIN.x0, MAIN.y0 + 146, MAIN.x1, MAIN.y0 + 210)
_WATCH = Box(MAIN.x0, MAIN.y0 + 212, MAIN.x1, MAIN.y1)
_LINES_APART = 3.0
"""mm on the sheet between deck lines that are drawn"""
_LINES_LEAST = 8.0
"""mm on the sheet below which what is left of a deck line is not drawn"""

_CAUTION = (
    "Eyes, ears and lungs: protect them. Keep hands clear until the spindle has stopped. "
    "Makers' sheets and local rules come first."
)


def drawings(plan: DrawnPlan) -> dict[str, str]:
    """Return all drawings as SVG text by file name: one for each operation (the skim once), and
    `overview.svg`."""
    single = {f"{work.stem}.svg": operation_drawing(plan, work) for work in plan.works}
    return {"overview.svg": overview(plan), **single}


def operation_drawing(plan: DrawnPlan, work: Work) -> str:
    """Return the drawing of one operation as SVG text; where the plan has no programs of it, no
    cuts are drawn."""
    scene, programs = plan.scene(work.setup), plan.programs_of(work)
    drawn = strokes(_shown(programs))
    top = _top(scene, work)
    bands = Bands.between(top, min(drawn.lowest if drawn.runs else work.lowest, top))
    bounds = _bounds(work, drawn)
    room = _room(work)
    scale = best_scale(bounds[2] - bounds[0], bounds[3] - bounds[1], room)
    title = f"{plan.job.title}: {work.stem}"
    detail = detail_scale(work, scale)
    units = {"plan": 1 / scale, **({"detail": 1 / detail} if detail else {})}
    svg = Document(
        WIDTH,
        HEIGHT,
        title,
        stylesheet(units, bands.count),
        f"Plan {plan.digest}. {scene.pose.caption}.",
    )
    with svg.defs():
        for name, pitch in (("resin", 1.8), ("obstacle", 1.0)):
            svg.hatch(f"{name}-sheet", pitch, "hatching")
            with svg.group("plan"):
                svg.hatch(f"{name}-plan", pitch / scale, "hatching", up=True)
    heading(
        svg,
        f"{work.order:02d}  {work.name}",
        f"SET-UP {work.setup}: {scene.pose.caption}",
        scene.turned,
    )
    view = PlanView.fitted(svg, bounds, room, scale)
    one = DrawnOperation(scene, work, programs, drawn, bands)
    lines = _sparse(drawn, work, view.unit)
    _plan(view, one, lines)
    cut = laid_slice if work.setup == "D" else section_of
    draw_section(svg, cut(scene, work, section_y(scene, work)), _SECTION)
    # 1e-9 mm: a file of bores alone has no lines to divide by.
    share = sum(map(length, drawn.runs)) / max(sum(map(length, lines)), 1e-9)
    left = _side(svg, one, plan, share)
    if detail:
        draw_detail(svg, left, one, detail)
    _watch(svg, scene, work, programs)
    return units_of(scene.job.units).text(svg.render())


def _room(work: Work) -> Box:
    """Return the room for the plan without the margins that dimensions of places need."""
    if not has_places(work):
        return Box(_PLAN.x0, _PLAN.y0 - 1, _PLAN.x1, _PLAN.y1 + 4)
    beside = BESIDE if work.name != "groove" else 0.0
    return Box(_PLAN.x0, _PLAN.y0 + 3, _PLAN.x1 - beside, _PLAN.y1 - BELOW)


def _shown(programs: Sequence[Program]) -> list[Pass]:
    """Return the passes to draw: of a skim only the lowest plane, since all passes follow the same
    path."""
    single = [program for program in programs if not program.combined]
    if len(single) > 1 or (single and len(programs) > 1):
        return list(single[-1].passes)
    return [
        stretch
        for program in programs
        for stretch in (program.passes[-1:] if program.combined else program.passes)
    ]


def _bounds(work: Work, drawn: Strokes) -> tuple[float, float, float, float]:
    """Return the bounds of the plan: blank, obstacles, the cutter at its start, and the path where
    it leaves the blank."""
    x0, y0, x1, y1 = work.blank.bounds
    boxes = [(x0, y0, x1, y1), *(obstacle.area.bounds for obstacle in work.obstacles)]
    for run in drawn.runs:
        boxes.append((*run[:, :2].min(axis=0).tolist(), *run[:, :2].max(axis=0).tolist()))
    if drawn.runs:
        x, y = drawn.runs[0][0, :2].tolist()
        boxes.append(
            (
                x - work.cutter.radius,
                y - work.cutter.radius,
                x + work.cutter.radius,
                y + work.cutter.radius,
            )
        )
    return (
        min(b[0] for b in boxes),
        min(b[1] for b in boxes),
        max(b[2] for b in boxes),
        max(b[3] for b in boxes),
    )


def _plan(view: PlanView, one: DrawnOperation, lines: Sequence[NDArray[np.float64]]) -> None:
    """Draw the plan; `lines` are those of the runs that are drawn."""
    svg, scene, work, drawn, bands = view.svg, one.scene, one.work, one.strokes, one.bands
    cut_y = section_y(scene, work)
    marks: list[tuple[str, float, float]] = []
    with svg.group("plan", id="plan", transform=view.transform):
        draw_blank(svg, work.blank.bounds)
        draw_depths(view, work, bands)
        draw_spared(view, work)
        draw_castings(view, scene, work.order)
        draw_work(view, work)
        draw_cuts(view, drawn, bands, work, lines=lines)
        if work.deck is not None:
            heights = work.deck.surface.grid
            marks = draw_contours(
                view, work.deck.surface, float(heights.min()), float(heights.max())
            )
        draw_features(view, scene)
        draw_corners(view, _corners(one.programs))
        draw_obstacles(view, [obstacle.area for obstacle in work.obstacles])
    labels = Labels(svg, Box(MAIN.x0 + 1, MAIN.y0 + 1, MAIN.x1 - 1, view.extent.y1 + 3))
    shapes = [
        scene.seen(scene.board.outline),
        *(scene.seen(casting.area) for casting in scene.board.castings),
    ]
    along = np.array([[work.blank.bounds[0], cut_y], [work.blank.bounds[2], cut_y]])
    runs = drawn.runs if work.pockets or work.holes else ()
    labels.lines = lines_to_avoid(view, [work.blank, *shapes], [*runs, along])
    _section_line(view, cut_y, labels)
    zero_mark(svg, labels, *view.sheet(work.zero.x, work.zero.y))
    draw_dimensions(view, scene, work, labels)
    touched = _touched(scene, work)
    if touched is not None:
        touch_mark(view, labels, *touched)
    name_features(view, labels, scene)
    _name_cutter(view, labels, drawn, work)
    set_figures(view, labels, marks)


def _corners(programs: Sequence[Program]) -> tuple[Corner, ...]:
    return tuple(corner for program in programs for corner in program.corners)


def _touched(scene: Scene, work: Work) -> tuple[float, float] | None:
    """Return where Z is touched on a face of the blank, in the set-up's X, Y; None where it is
    touched on the bed."""
    machine = scene.job.machine
    on_face = machine.z_zero == "face" or work.name == "inserts"
    return scene.at(*machine.touch_at) if on_face and machine.touch_at is not None else None


def _sparse(drawn: Strokes, work: Work, unit: float) -> tuple[NDArray[np.float64], ...]:
    """Return the runs to draw: on the deck only so many lines that they can be seen singly."""
    return (
        drawn.runs
        if work.deck is None
        else apart(drawn.runs, _LINES_APART * unit, _LINES_LEAST * unit)
    )


def _section_line(view: PlanView, y: float, labels: Labels) -> None:
    svg, extent = view.svg, view.extent
    at = view.sheet(0.0, y)[1]
    with svg.group("section-line", id="section-line"):
        svg.line(extent.x0 - 1, at, extent.x1 + 1, at, "centre")
        svg.line(extent.x0 - 2, at, extent.x0 + 2, at, "wide")
        svg.line(extent.x1 - 2, at, extent.x1 + 2, at, "wide")
        for x, anchor in ((extent.x0 - 2.6, "end"), (extent.x1 + 2.6, "start")):
            box = svg.text(x, at + 1.2, "S", "label strong halo", size=NORMAL, anchor=anchor)
            labels.block(box)


def _name_cutter(view: PlanView, labels: Labels, drawn: Strokes, work: Work) -> None:
    if not drawn.runs:
        return
    x, y = view.sheet(float(drawn.runs[0][0, 0]), float(drawn.runs[0][0, 1]))
    r = work.cutter.radius * view.scale
    labels.block(Box(x - r, y - r, x + r, y + r))
    labels.place(x, y, f"start, {work.cutter.describe()}", r, class_="label strong halo")


def _side(svg: Document, one: DrawnOperation, plan: DrawnPlan, share: float) -> Box:
    """Draw the legend above and the title block below; return the room left between them. One line
    in `share` is drawn."""
    scene, work, programs = one.scene, one.work, one.programs
    top = _top(scene, work)
    svg.line(SIDE.x0 - 1, FRAME.y0 + 19, SIDE.x0 - 1, FRAME.y1, "narrow")
    face = {"A": "the raw top", "B": "the raw bottom", "C": "the raw top", "D": "the highest"}[
        work.setup
    ]
    if work.setup == "B" and work.facing is None:
        face = "the face"
    datum = DepthDatum(face, top, over_datum(work.setup, short=True))
    y = depth_legend(svg, SIDE, SIDE.y0, one.bands, datum, pale=work.deck is not None)
    y = kinds_legend(svg, SIDE, y, _kinds(scene, work, share, bool(_corners(programs))))
    column = Box(SIDE.x0, SIDE.y0, SIDE.x1 - 1, SIDE.y1 - 1)
    bottom = rows_block(
        svg, column, _rows(scene, work, programs, plan.digest, plan.minutes), "title"
    )
    return Box(SIDE.x0 + 2, y + 3, SIDE.x1 - 3, bottom - 4)


def _kinds(scene: Scene, work: Work, share: float, corners: bool = False) -> list[tuple[str, str]]:
    cut = "cut, darker where deeper"
    if work.deck is not None and share >= 1.5:
        cut = f"cut: about one line in {share:.0f} is drawn"
    kinds = [("cut z1", cut), ("rapid", "rapid, above everything")]
    kinds += [
        ("entry", "the cutter enters"),
        ("arrow", "direction of cutting"),
        ("cutter", "cutter to scale, at its start"),
    ]
    kinds += [
        ("zero", "work zero, with X and Y"),
        ("uncut", "outline, not cut yet"),
        ("hidden", "hidden, or cut later"),
    ]
    if scene.board.template is not None:
        kinds.append(("template faint", f"template: {scene.board.template.file}"))
    if work.deck is not None:
        kinds.append(("contour", f"contour line of the deck, {UNIT}"))
    if scene.setup != "A":
        kinds.append(("resin", "cured casting"))
    if _touched(scene, work) is not None:
        kinds.append(("touch", "place where Z is touched"))
    if work.obstacles:
        kinds.append(("obstacle", "obstacle: keep off"))
    deck = work.deck
    waste = deck is not None and deck.rough <= 0.0 and deck.finished is not None
    if uncut(work) or waste or (deck is not None and deck.framed):
        kinds.append(("wood", "not cut to depth"))
    if corners:
        kinds.append(("corner", "inside corner that stays round"))
    kinds.append(("tint", "cut away here"))
    return kinds


def _rows(
    scene: Scene, work: Work, programs: Sequence[Program], digest: str, minutes: Mapping[str, float]
) -> list[tuple[str, str]]:
    zero, cutting = work.zero, work.cutting
    again = "you may touch off again" if zero.again else "do not touch off again"
    xy = (
        "middle of the blank"
        if zero.x == 0 and zero.y == 0
        else f"front-left corner, X {shown(zero.x)} Y {shown(zero.y)} from the middle"
    )
    rows = [
        ("job", scene.job.title),
        ("operation", f"{work.order:02d} {work.name}"),
        ("set-up", f"{work.setup}, {scene.pose.face_up}"),
        ("file", _files(work, programs)),
        ("cutter", work.cutter.describe()),
        (
            "speed, feed",
            f"{number(cutting.rpm, 0)} rpm, {feed(cutting.feed):.0f~}; ramp "
            f"{feed(cutting.ramp):.0f}",
        ),
    ]
    times = {p.combined: 0.0 for p in programs if p.stem in minutes}
    for p in programs:
        if p.stem in minutes:
            times[p.combined] += minutes[p.stem]
    if times:
        apart = "passes one by one " if True in times and False in times else ""
        rows.append(("time", ", all in one ".join(f"{times[k]:.1f} min" for k in sorted(times))))
        rows[-1] = ("time", apart + rows[-1][1])
    rows += [
        ("lowest cut", _lowest(scene, work)),
        ("X, Y zero", xy),
        ("Z zero", f"{marked(zero.touch)}: Z {shown(zero.z)} {over_datum(work.setup)}; {again}"),
        ("safe height", f"{shown(work.clear)} {over_datum(work.setup)}"),
        ("plan", digest),
    ]
    return rows


def _top(scene: Scene, work: Work) -> float:
    """Return the height of the face that an operation starts from; in D that of the highest place
    of the laid-up board."""
    return work.stock_top if work.setup == "D" else scene.top(work.order)


def _lowest(scene: Scene, work: Work) -> str:
    if work.setup == "D":
        return f"{mm(work.lowest):.2f} {over_datum(work.setup)}"
    return f"{_over_bed(work.lowest)}, {scene.below(work)} below the face"


def _over_bed(height: float) -> str:
    return f"{mm(-height):.2f} into the bed" if height < 0 else f"{mm(height):.2f} above the bed"


def _files(work: Work, programs: Sequence[Program]) -> str:
    """Return the file names in words; of many passes only the first and the last."""
    single = [p.stem for p in programs if not p.combined] or ([] if programs else [work.stem])
    names = (
        [f"{single[0]}.nc to {single[-1].rsplit('-', 1)[-1]}"]
        if len(single) > 2
        else [f"{s}.nc" for s in single]
    )
    return ", ".join([*names, *(f"{p.stem}.nc" for p in programs if p.combined)])


def _watch(svg: Document, scene: Scene, work: Work, programs: Sequence[Program]) -> None:
    """Set what to watch in two columns; a last line refers to the file's head where there is
    more."""
    said = [
        marked(line)
        for line in (*work.watch, *(line for program in programs for line in program.watch))
    ]
    lines = list(dict.fromkeys(line[:1].upper() + line[1:] for line in said))
    again = (
        "may be touched again"
        if work.zero.again
        else "must not be touched again once cutting has begun"
    )
    lines.append(f"Z is touched on {marked(work.zero.touch)}; it {again}.")
    width = (_WATCH.width - 14) / 2
    laid: list[str] = []
    for line in lines:
        first, *rest = wrapped(line, SMALL, width - 5)
        laid += ["– " + first, *("   " + text for text in rest)]
    pitch, rows = 4.6, int((_WATCH.height - 16) // 4.6)
    if len(laid) > 2 * rows:
        laid = [*laid[: 2 * rows - 1], "– more in the head of the file"]
    with svg.group("watch", id="watch"):
        svg.line(_WATCH.x0, _WATCH.y0, SIDE.x0 - 1, _WATCH.y0, "narrow")
        svg.text(_WATCH.x0 + 4, _WATCH.y0 + 5.5, "What to watch", "label strong", size=NORMAL)
        for k, line in enumerate(laid):
            column, row = divmod(k, rows)
            svg.text(
                _WATCH.x0 + 4 + column * (width + 6),
                _WATCH.y0 + 11 + row * pitch,
                line.rstrip(),
                size=SMALL,
            )
        svg.text(_WATCH.x0 + 4, _WATCH.y1 - 2.5, _CAUTION, "label quiet", size=SMALL)
