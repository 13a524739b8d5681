"""The overview: all features over the blank in the board frame, the stack-up to scale in height,
checks and files.

Board frame, mm: X along the length, Y across, origin at the middle of the blank, deck up. In the
stack-up heights count from the finished bottom at the planned stop; lengths there are not to scale.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from corepath.lengths import UNIT, units_of
from corepath.motion.pass_name import minutes_to_stop
from corepath.views.drawing_sheet import (
    HEIGHT,
    MAIN,
    WIDTH,
    Labels,
    best_scale,
    dimension_across,
    dimension_along,
    heading,
    scale_note,
    side_block,
)  # fmt: skip
from corepath.views.drawings.dimensions import running
from corepath.views.drawings.hardware import draw_dowel, draw_insert
from corepath.views.drawings.marks import lines_to_avoid, name_features, set_figures
from corepath.views.drawings.overview_tables import (
    checks_table,
    files_table,
    measures_table,
    skim_table,
)
from corepath.views.drawings.plan_view import (
    PlanView,
    draw_blank,
    draw_contours,
    draw_template,
)
from corepath.views.drawings.scene import DrawnPlan, Scene
from corepath.views.drawings.stack_view import draw_stack
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document, polygon_path, shown

__all__ = ["draw_board", "overview"]

_PLAN = Box(MAIN.x0 + 17, MAIN.y0 + 12, MAIN.x1 - 18, MAIN.y0 + 116)
_STACK = Box(MAIN.x0, MAIN.y0 + 150, MAIN.x1, MAIN.y0 + 222)
_TABLE = Box(MAIN.x0, MAIN.y0 + 224, MAIN.x1, MAIN.y1)


def overview(plan: DrawnPlan) -> str:
    """Return the overview as SVG text."""
    scene, job, board = plan.scene("A"), plan.job, plan.board
    x0, y0, x1, y1 = board.blank.bounds
    scale = best_scale(x1 - x0, y1 - y0, _PLAN)
    svg = Document(
        WIDTH,
        HEIGHT,
        f"{job.title}: overview",
        stylesheet({"plan": 1 / scale}, 2),
        f"Plan {plan.digest}. Deck up.",
    )
    with svg.defs():
        svg.hatch("resin-sheet", 2.2, "hatching")
        with svg.group("plan"):
            svg.hatch("resin-plan", 1.6 / scale, "hatching", up=True)
    flip = f"turned over about {job.machine.flip_about.upper()} for set-up B"
    heading(
        svg,
        f"{job.title}: overview",
        "BOARD FRAME, DECK UP",
        f"X along the length, Y across, from the middle of the blank; {flip}",
    )
    view = PlanView.fitted(svg, board.blank.bounds, _PLAN, scale)
    _plan(view, scene)
    draw_stack(svg, scene, _STACK)
    measures_table(svg, scene, _TABLE)
    _side(svg, scene, plan)
    return units_of(scene.job.units).text(svg.render())


def draw_board(view: PlanView, scene: Scene) -> list[tuple[str, float, float]]:
    """Draw blank, castings, contour lines of the deck, outline, inserts and dowels, deck up, in the
    board frame; return what stands at contour lines: (figure, x, y), mm."""
    svg, board = view.svg, scene.board
    heights = np.asarray(board.deck.grid)
    with svg.group("plan", id="plan", transform=view.transform):
        x0, y0, x1, y1 = board.blank.bounds
        draw_blank(svg, board.blank.bounds)
        for casting in board.castings:
            svg.path(
                polygon_path(casting.area, view.places),
                f"{casting.kind} resin narrow",
                id=f"casting-{casting.id}",
            )
            if casting.plug is not None:
                centre = casting.area.centroid
                svg.add(
                    "circle",
                    class_="bolt hidden",
                    cx=centre.x,
                    cy=centre.y,
                    r=casting.plug.bolt_hole / 2,
                )
        marks = draw_contours(view, board.deck, float(heights.min()), float(heights.max()))
        draw_template(view, scene)
        svg.path(polygon_path(board.outline, view.places), "outline uncut", id="outline")
        for place in board.places:
            with svg.group("insert", id=f"insert-{place.id}"):
                draw_insert(svg, place.seat, place.bore, "narrow", view.places)
        for k, dowel in enumerate(board.dowels, start=1):
            draw_dowel(svg, dowel.at, dowel.diameter, "solid", f"dowel-{k}")
        svg.line(x0 - 2 * view.unit, 0, x1 + 2 * view.unit, 0, "centre")
        svg.line(0, y0 - 2 * view.unit, 0, y1 + 2 * view.unit, "centre")
    return marks


def _plan(view: PlanView, scene: Scene) -> None:
    svg, board = view.svg, scene.board
    marks = draw_board(view, scene)
    labels = Labels(svg, view.extent)
    labels.lines = lines_to_avoid(view, [board.outline, *(c.area for c in board.castings)], [])
    _dimensions(view, scene)
    name_features(view, labels, scene)
    set_figures(view, labels, marks)


def _dimensions(view: PlanView, scene: Scene) -> None:
    """Draw the dimensions of blank and board overall, and the places of all hardware as running
    dimensions from the middle."""
    svg, board = view.svg, scene.board
    bx0, by0, bx1, by1 = board.blank.bounds
    ox0, oy0, ox1, oy1 = board.outline.bounds
    left, top = view.sheet(bx0, by1)
    right, bottom = view.sheet(bx1, by0)
    with svg.group("dimensions", id="dimensions"):
        upper, lower = view.sheet(ox0, oy1), view.sheet(ox1, oy0)
        dimension_along(svg, upper[0], lower[0], top, top - 5.5, f"board {shown(ox1 - ox0, 1)}")
        dimension_across(svg, upper[1], lower[1], left, left - 4.0, shown(oy1 - oy0, 1))
        dimension_across(svg, top, bottom, left, left - 10.5, shown(by1 - by0, 1))
        dimension_along(svg, left, right, bottom, bottom + 19.5, f"blank {shown(bx1 - bx0, 1)}")
        spots = [(c.area.centroid.x, c.area.centroid.y) for c in board.castings if c.kind == "plug"]
        spots += [(p.x, p.y) for p in scene.places]
        spots += [(p.x, p.y) for p in scene.dowels]
        running(view, spots, bottom, right)
    says = f"places as running dimensions from the middle; thin lines: height of the deck; {UNIT}"
    scale_note(svg, MAIN.x0 + 19, bottom + 26.0, view.scale, says)


def _side(svg: Document, scene: Scene, plan: DrawnPlan) -> None:
    blank, minutes = plan.job.blank, plan.minutes
    rows = [
        ("job", scene.job.title),
        (
            "blank",
            f"{shown(blank.length)} × {shown(blank.width)} × {shown(scene.table.thickness)}, "
            f"{blank.wood}",
        ),
        (
            "core",
            f"{shown(scene.table.deck_highest)} thick, {shown(scene.table.deck_lowest)} at "
            "the edge",
        ),
        ("resin", scene.job.cast.resin),
    ]
    if minutes:
        rows.append(("cutting", _cutting(minutes, scene.stack.skim.planned_stop)))
    rows.append(("plan", plan.digest))
    bottom = side_block(svg, rows)
    y = checks_table(svg, plan.checks)
    y = files_table(svg, plan.works, plan.programs, minutes, y, bottom)
    skim_table(svg, scene.stack.skim, y, bottom)


def _cutting(minutes: Mapping[str, float], planned_stop: int) -> str:
    """Return the time, in words, of the files that are run when the skim stops as planned."""
    skims = any("-skim-" in stem for stem in minutes)
    return f"{minutes_to_stop(minutes, planned_stop):.0f} min" + (
        ", the skim to its planned stop" if skims else ""
    )
