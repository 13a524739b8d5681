"""Four sheets of the deck as designed: contour lines with heights, sections, slope, curvature.

Board frame, mm: X along the length, Y across, origin at the middle of the blank, deck up; heights h
above the finished bottom. Slope is the magnitude of the gradient, in degrees. Curvature is the
larger principal curvature of the surface by magnitude, in 1/m: a skin must bend to it, and 1000
divided by it is the radius in mm. For z = h(x, y) with slopes p, q: H = ((1 + q²)hxx - 2pq·hxy + (1
+ p²)hyy) / 2w³, K = (hxx·hyy - hxy²) / w⁴, w² = 1 + p² + q², and the principal curvatures are H ±
√(H² - K) (any book of differential geometry; from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.board.features import Board
from corepath.job.model import Job
from corepath.lengths import UNIT, mm, units_of
from corepath.views.deck.deck_sections import SectionLine, draw_sections, section_lines
from corepath.views.drawing_sheet import (
    MAIN,
    NORMAL,
    SIDE,
    SMALL,
    Labels,
    best_scale,
    dimension_across,
    dimension_along,
    new_sheet,
    scale_note,
    scale_words,
    side_block,
)
from corepath.views.drawings.cuts import Bands, nice_step
from corepath.views.drawings.legend import swatch
from corepath.views.drawings.marks import lines_to_avoid, set_figures
from corepath.views.drawings.plan_view import PlanView, draw_blank
from corepath.views.maps.contours import contour, inner_levels
from corepath.views.maps.field import Field, bands_of, draw_bands, draw_lines, laid_over
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document, number, polygon_path, shown, wrapped

__all__ = ["curvature", "deck_pictures", "slope"]

Floats = NDArray[np.float64]
Over = Callable[[Floats, Floats], Floats]

_PLAN = Box(MAIN.x0 + 18, MAIN.y0 + 12, MAIN.x1 - 12, MAIN.y1 - 36)
_SECTIONS = Box(MAIN.x0 + 4, MAIN.y0 + 6, MAIN.x1 - 4, MAIN.y1 - 4)
_PITCH = 5.2
_UP = "BOARD FRAME, DECK UP"
_TRIED = 16


def slope(surface: DeckSurface, x: Floats, y: Floats) -> Floats:
    """Return the deck's slope in its steepest direction, degrees, in the shape of `x`, `y` (mm)."""
    hx, hy = surface.gradient(x, y)
    return np.asarray(np.degrees(np.arctan(np.hypot(hx, hy))), dtype=np.float64)


def curvature(surface: DeckSurface, x: Floats, y: Floats) -> Floats:
    """Return the larger principal curvature by magnitude, 1/m, in the shape of `x` and `y` (mm)."""
    p, q = surface.gradient(x, y)
    hxx, hxy, hyy = surface.hessian(x, y)
    w2 = 1.0 + p * p + q * q
    mean = ((1.0 + q * q) * hxx - 2.0 * p * q * hxy + (1.0 + p * p) * hyy) / (2.0 * w2**1.5)
    gauss = (hxx * hyy - hxy * hxy) / w2**2
    # H² - K is never negative, but rounding makes it so where both curvatures are equal.
    return np.asarray(
        1000.0 * (np.abs(mean) + np.sqrt(np.maximum(mean * mean - gauss, 0.0))), dtype=np.float64
    )


@dataclass(frozen=True, slots=True)
class _PictureMap:
    """One map: `over` gives its value at places (x, y to the same shape); `lines` says whether it
    has contour lines, `places` its decimals, `beside` the words behind a bound in the legend."""

    name: str
    title: str
    message: str
    legend: str
    over: Over
    places: int
    lines: bool
    beside: Callable[[float], str] | None = None
    note: str = ""

    @property
    def own(self) -> Callable[[float], float]:
        """The function that marks its figures: only heights, which have contour lines, are
        lengths."""
        return mm if self.lines else float


def deck_pictures(job: Job, board: Board, *, digest: str) -> dict[str, str]:
    """Return `deck-contours.svg`, `deck-sections.svg`, `deck-slope.svg` and `deck-curvature.svg` as
    SVG text by file name."""
    deck = board.deck
    maps = (
        _PictureMap("contours", "Deck, contour lines", "height above the finished bottom, "
                                                       f"{UNIT}", f"Height, {UNIT}",
             deck.height, 2, True, note="Broken lines S: where the sheet deck-sections.svg cuts."),
        _PictureMap("slope", "Deck, slope", "slope along the steepest way, "
                                            "degrees", "Slope, degrees",
             lambda x, y: slope(deck, x, y), 2, False,
             lambda v: f"{np.tan(np.radians(v)) * 100:.1f} %",
             "In brackets: rise in percent of the way."),
        _PictureMap("curvature", "Deck, curvature", "larger principal curvature, up or down, "
                                                    "1/m", "Curvature, 1/m",
             lambda x, y: curvature(deck, x, y), 2, False, _radius,
             f"In brackets: least radius in {UNIT} that belongs to the darker end. A skin must "
             "bend to it."),
    )  # fmt: skip
    lines = section_lines(board)
    out = {f"deck-{one.name}.svg": _sheet(job, board, one, lines, digest) for one in maps}
    out["deck-sections.svg"] = _sections(job, board, lines, digest)
    return dict(sorted(out.items()))


# Below 1e-6 1/m the radius is over a thousand kilometres: the rounding of a level surface.
def _radius(value: float) -> str:
    return "level" if value < 1e-6 else f"R {mm(1000.0 / value):.0f}"


def _sheet(
    job: Job, board: Board, one: _PictureMap, lines: tuple[SectionLine, ...], digest: str
) -> str:
    x0, y0, x1, y1 = board.blank.bounds
    scale = best_scale(x1 - x0, y1 - y0, _PLAN)
    field = laid_over(x1 - x0, y1 - y0, one.over)
    bands = bands_of(float(field.grid.min()), float(field.grid.max()))
    title = f"{job.title}: {one.title}"
    says = f"{one.message}; X along the length, Y across, from the middle"
    css = stylesheet({"plan": 1 / scale}, bands.count)
    svg = new_sheet(title, _UP, says, css=css, description=f"Plan {digest}. Deck up.")
    view = PlanView.fitted(svg, board.blank.bounds, _PLAN, scale)
    _plan(view, board, one, field, bands, lines)
    rows = [("job", job.title), ("sheet", one.title), ("deck", _spread(board)), ("plan", digest)]
    side_block(svg, rows)
    _legend(svg, one, bands, field)
    return units_of(job.units).text(svg.render())


def _spread(board: Board) -> str:
    return f"{mm(board.deck.lowest):.2f} to {mm(board.deck.highest):.2f}"


def _plan(
    view: PlanView,
    board: Board,
    one: _PictureMap,
    field: Field,
    bands: Bands,
    lines: tuple[SectionLine, ...],
) -> None:
    svg = view.svg
    x0, y0, x1, y1 = board.blank.bounds
    with svg.group("plan", id="plan", transform=view.transform):
        with svg.group("bands", id="bands"):
            draw_bands(view, field, bands, True, "t" if one.lines else "f")
        if one.lines:
            draw_lines(view, field)
        draw_blank(svg, board.blank.bounds, "blank wide")
        svg.path(polygon_path(board.outline, view.places), "outline uncut", id="outline")
        if one.lines:
            for line in lines:
                svg.line(*line.ends(board.blank.bounds), "hidden")
    labels = Labels(svg, Box(MAIN.x0 + 1, MAIN.y0 + 1, MAIN.x1 - 1, view.extent.y1 + 6))
    labels.lines = lines_to_avoid(view, [board.blank, board.outline], [])
    if one.lines:
        _name_lines(view, board, lines, labels)
        _level_figures(view, field, labels)
    else:
        _mark_most(view, one, field, labels)
    _dimensions(view, x1 - x0, y1 - y0)


def _name_lines(
    view: PlanView, board: Board, lines: tuple[SectionLine, ...], labels: Labels
) -> None:
    for line in lines:
        ax, ay, _, by = line.ends(board.blank.bounds)
        sx, sy = view.sheet(ax, max(ay, by))
        if line.along == "x":
            box = view.svg.text(
                sx - 1.2, sy + 1.1, line.name, "label strong halo", size=SMALL, anchor="end"
            )
        else:
            box = view.svg.text(
                sx, sy - 1.6, line.name, "label strong halo", size=SMALL, anchor="middle"
            )
        labels.block(box)


def _level_figures(view: PlanView, field: Field, labels: Labels) -> None:
    """Set the height of each contour line on it, at the first free one of 16 places along it."""
    low, high = float(field.grid.min()), float(field.grid.max())
    # 1e-6 mm: a level deck still gets a scale.
    step = nice_step(max(high - low, 1e-6) / 8.0)
    for k in inner_levels(low, high, step):
        for line in contour(field.xs, field.ys, field.grid, k * step)[:1]:
            for share in range(_TRIED):
                # Steps of 7 of 16 reach every place once, far from the last one first; the shift by
                # level keeps figures of neighbouring lines from standing in a row.
                x, y = line[(len(line) * (share * 7 + 2 * k) // _TRIED) % len(line)]
                before = len(view.svg.boxes)
                set_figures(view, labels, [(f"{mm(k * step):.2f}", float(x), float(y))])
                if len(view.svg.boxes) > before:
                    break


def _mark_most(view: PlanView, one: _PictureMap, field: Field, labels: Labels) -> None:
    """Draw a cross where the value is largest, with its figure."""
    # Rounded, so that of equal values the first one wins on every machine.
    ix, iy = np.unravel_index(int(np.argmax(np.round(field.grid, 6))), field.grid.shape)
    sx, sy = view.sheet(float(field.xs[ix]), float(field.ys[iy]))
    view.svg.path(f"M{number(sx - 2)} {number(sy)}h4m-2 -2v4", "halo")
    view.svg.path(f"M{number(sx - 2)} {number(sy)}h4m-2 -2v4", "wide")
    labels.place(
        sx,
        sy,
        f"most: {one.own(float(field.grid[ix, iy])):.{one.places}f}",
        3.0,
        class_="label strong halo",
    )


def _dimensions(view: PlanView, length: float, width: float) -> None:
    svg, extent = view.svg, view.extent
    with svg.group("dimensions", id="dimensions"):
        dimension_along(svg, extent.x0, extent.x1, extent.y1, extent.y1 + 9, shown(length))
        dimension_across(svg, extent.y0, extent.y1, extent.x0, extent.x0 - 9, shown(width))
    says = f"the blank's edge, and the board's outline as a broken line; {UNIT}"
    scale_note(svg, MAIN.x0 + 19, extent.y1 + 19, view.scale, says)


def _legend(svg: Document, one: _PictureMap, bands: Bands, field: Field) -> None:
    y, own = SIDE.y0, one.own
    pale = "t" if one.lines else "f"
    with svg.group("legend", id="legend"):
        svg.text(SIDE.x0 + 2, y + 4, one.legend, "label strong", size=NORMAL)
        y += 7.0
        for band in range(bands.count):
            high, low = bands.bounds[band], bands.bounds[band + 1]
            beside = f"  ({one.beside(high)})" if one.beside is not None else ""
            text = f"{own(low):.{one.places}f} to {own(high):.{one.places}f}{beside}"
            swatch(svg, SIDE, y, f"{pale}{bands.count - 1 - band}", text, "figure")
            y += _PITCH
        y += 3.0
        figures = (
            f"least {own(float(field.grid.min())):.{one.places}f}, most "
            f"{own(float(field.grid.max())):.{one.places}f}"
        )
        for text in (figures, *wrapped(one.note, SMALL, SIDE.width - 6)):
            svg.text(SIDE.x0 + 3, y + 3.4, text, "label", size=SMALL)
            y += 4.4


def _sections(job: Job, board: Board, lines: tuple[SectionLine, ...], digest: str) -> str:
    title = f"{job.title}: Deck, sections"
    says = (
        "each true to scale, and below it at ten times the height; heights above the finished "
        f"bottom, {UNIT}"
    )
    css, described = stylesheet({}, 2), f"Plan {digest}. Deck up."
    svg = new_sheet(title, _UP, says, css=css, description=described)
    scale = draw_sections(svg, board, lines, _SECTIONS)
    rows = [
        ("job", job.title), ("sheet", "Deck, sections"),
        ("scale", f"{scale_words(scale)} at A3; heights also ten "
                  "times"), ("deck", _spread(board)), ("plan", digest),
    ]  # fmt: skip
    side_block(svg, rows)
    with svg.group("legend", id="legend"):
        y = SIDE.y0 + 4
        svg.text(SIDE.x0 + 2, y, f"Where the sections lie, {UNIT}", "label strong", size=NORMAL)
        for line in lines:
            y += _PITCH
            svg.text(SIDE.x0 + 3, y, line.words, "label", size=SMALL)
    return units_of(job.units).text(svg.render())
