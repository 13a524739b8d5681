"""A detail at a larger scale, where the plan is too small to show the path: around the place where
cutting starts.

It is in the right-hand column, between legend and title block, clipped at its frame. Model mm as in
the plan.
"""

from __future__ import annotations

from corepath.views.drawing_sheet import NORMAL, scale_words
from corepath.views.drawings.cuts import Strokes, within
from corepath.views.drawings.plan_view import PlanView, draw_cuts, draw_work
from corepath.views.drawings.scene import DrawnOperation
from corepath.views.svg import Box, Document, polygon_path
from corepath.work.works import Work

__all__ = ["detail_scale", "draw_detail"]

_DETAIL_SCALES = (2.0, 1.0, 0.5)


def detail_scale(work: Work, plan_scale: float) -> float | None:
    """Return the scale of the detail, at which the cutter is at most 10 mm wide on the sheet; None
    where no detail is needed, as it would hardly be larger than the plan."""
    if not (work.pockets or work.holes):
        return None
    best = next((s for s in _DETAIL_SCALES if work.cutter.diameter * s <= 10.0), _DETAIL_SCALES[-1])
    # Less than 1.5 times as large as the plan it would show hardly more.
    return best if best > 1.5 * plan_scale else None


def draw_detail(svg: Document, box: Box, one: DrawnOperation, scale: float) -> None:
    """Draw the detail into `box` (sheet mm); nothing where the box is too flat or nothing is
    cut."""
    scene, work, drawn = one.scene, one.work, one.strokes
    if box.height < 24.0 or not drawn.runs:
        return
    window = Box(box.x0, box.y0 + 6.0, box.x1, box.y1)
    x, y = float(drawn.runs[0][0, 0]), float(drawn.runs[0][0, 1])
    half_x, half_y = window.width / scale / 2, window.height / scale / 2
    view = PlanView.fitted(svg, (x - half_x, y - half_y, x + half_x, y + half_y), window, scale)
    near = Strokes(within(drawn.runs, x - half_x, y - half_y, x + half_x, y + half_y), ())
    with svg.group("detail-view", id="detail-view"):
        svg.text(
            box.x0 + 1,
            box.y0 + 4,
            f"Where it starts, {scale_words(scale)}",
            "label strong",
            size=NORMAL,
        )
        with svg.defs():
            svg.clip("detail-window", window)
        with (
            svg.group("detail-clip", clip_path="url(#detail-window)"),
            svg.group("detail", transform=view.transform),
        ):
            bounds = work.blank.bounds
            svg.add(
                "rect",
                class_="wood wide",
                x=bounds[0],
                y=bounds[1],
                width=bounds[2] - bounds[0],
                height=bounds[3] - bounds[1],
            )
            draw_work(view, work, ids=False)
            draw_cuts(view, near, one.bands, work, ids=False)
            svg.path(polygon_path(scene.seen(scene.board.outline), view.places), "outline uncut")
        svg.add(
            "rect",
            class_="narrow",
            x=window.x0,
            y=window.y0,
            width=window.width,
            height=window.height,
        )
