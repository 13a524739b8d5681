"""Maps of the skin on the deck: the pressure that it needs, and the strain that double curvature
causes. Board frame, mm.

Two plans on each sheet. `deck-skin-pressure.svg`: the pressure needed by the plate alone, and with
the stresses in its plane, bar, positive where it must be pressed down; where more is needed than is
available an area is ringed: there it bridges. `deck-skin-membrane.svg`: compression and tension in
its plane, thousandths of its length. Darker is what needs more attention.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.lengths import UNIT, units_of
from corepath.skin.report import skin_words
from corepath.skin.study import SkinStudy
from corepath.skin.terms import PlacedFigure
from corepath.views.drawing_sheet import (
    MAIN,
    NORMAL,
    SIDE,
    SMALL,
    Labels,
    best_scale,
    new_sheet,
    scale_note,
    side_block,
)
from corepath.views.drawings.cuts import Bands
from corepath.views.drawings.legend import line_kinds, swatch
from corepath.views.drawings.marks import lines_to_avoid, set_figures
from corepath.views.drawings.plan_view import PlanView, draw_blank
from corepath.views.maps.contours import contour
from corepath.views.maps.field import Field, bands_of, draw_bands, draw_lines
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document, number, polygon_path, polyline_path, shown, wrapped

__all__ = ["skin_maps"]

Floats = NDArray[np.float64]

_MOST_NODES = 320
_PITCH = 4.4
_THOUSANDTHS = 1000.0


@dataclass(frozen=True, slots=True)
class _Plan:
    """One plan of a sheet: title, the values (n, m) on `xs` by `ys`, the worst place, and the bound
    above which an area is ringed."""

    id: str
    title: str
    xs: Floats
    ys: Floats
    values: Floats
    worst: PlacedFigure
    bound: float


@dataclass(frozen=True, slots=True)
class _Sheet:
    title: str
    message: str
    unit: str
    ringed: str
    plans: tuple[_Plan, _Plan]
    said: Sequence[str]


def skin_maps(job: Job, board: Board, study: SkinStudy, *, digest: str) -> dict[str, str]:
    """Return both sheets as SVG text by file name."""
    return {
        "deck-skin-pressure.svg": _draw(job, board, study, _pressure(study), digest),
        "deck-skin-membrane.svg": _draw(job, board, study, _membrane(study), digest),
    }


def _pressure(study: SkinStudy) -> _Sheet:
    at_hand = study.skin.bar
    pressure = study.pressure
    xs, ys = pressure.xs, pressure.ys
    # A negative need is carried by the core: it is drawn as none, so that rounding errors on level
    # ground show no pattern.
    plate, both = (np.maximum(need, 0.0) for need in (pressure.need, study.need_all))
    plans = (
        _Plan("plate", "The plate alone", xs, ys, plate, pressure.most, at_hand),
        _Plan("all", "With the pull of double curvature", xs, ys, both, study.most_all, at_hand),
    )
    says = (
        f"bar, mean over {shown(pressure.length)} {UNIT}, by which it must be pressed down; "
        f"{number(at_hand)} bar at hand"
    )
    return _Sheet(
        "Pressure the skin needs", says, "bar", "round it: bridges here", plans, skin_words(study)
    )


def _membrane(study: SkinStudy) -> _Sheet:
    membrane, skin = study.membrane, study.skin
    squeezed = np.maximum(-membrane.compression, 0.0) * _THOUSANDTHS
    pulled = np.maximum(membrane.tension, 0.0) * _THOUSANDTHS
    xs, ys = membrane.xs, membrane.ys
    most, least = (
        PlacedFigure(max(place.value, 0.0) * _THOUSANDTHS, place.x, place.y)
        for place in (study.compression, study.tension)
    )
    plans = (
        _Plan(
            "compression",
            "Compression",
            xs,
            ys,
            squeezed,
            most,
            skin.compression_limit * _THOUSANDTHS,
        ),
        _Plan("tension", "Tension", xs, ys, pulled, least, skin.strain_limit * _THOUSANDTHS),
    )
    says = (
        "thousandths of its length, forced in the skin's plane by double curvature, its edge free "
        "to slide"
    )
    limits = (
        f"Compression beyond {skin.compression_limit * _THOUSANDTHS:.2f} thousandths may wrinkle "
        "it.",
        f"Tension and bending together: {study.together.value * _THOUSANDTHS:.2f} of "
        f"{skin.strain_limit * _THOUSANDTHS:.2f} thousandths at {study.together.words}.",
    )
    return _Sheet(
        "Strain in the skin's plane", says, "‰", "round it: over the limit", plans, limits
    )


def _draw(job: Job, board: Board, study: SkinStudy, sheet: _Sheet, digest: str) -> str:
    low = min(float(plan.values.min()) for plan in sheet.plans)
    bands = bands_of(low, max(float(plan.values.max()) for plan in sheet.plans))
    x0, y0, x1, y1 = board.blank.bounds
    rooms = [
        Box(MAIN.x0 + 12, top + 16, MAIN.x1 - 12, top + 116) for top in (MAIN.y0, MAIN.y0 + 122)
    ]
    scale = best_scale(x1 - x0, y1 - y0, rooms[0])
    title = f"{job.title}: {sheet.title}"
    css, described = stylesheet({"plan": 1 / scale}, bands.count), f"Plan {digest}. DECK UP."
    svg = new_sheet(title, "DECK UP", sheet.message, css=css, description=described)
    ringed = False
    for plan, room in zip(sheet.plans, rooms, strict=True):
        view = PlanView.fitted(svg, board.blank.bounds, room, scale)
        svg.text(MAIN.x0 + 4, room.y0 - 8, plan.title, "label strong", size=NORMAL)
        ringed = _plan(view, board, study, plan, bands, sheet.unit) or ringed
    says = f"X, Y of the board frame, {UNIT}"
    scale_note(svg, MAIN.x0 + 19, MAIN.y1 - 8, scale, says)
    _side(svg, job, sheet, bands, digest, ringed)
    return units_of(job.units).text(svg.render())


def _plan(
    view: PlanView, board: Board, study: SkinStudy, plan: _Plan, bands: Bands, unit: str
) -> bool:
    """Draw one plan with bands, contour lines, outline, castings and its largest value; return
    whether any area is ringed."""
    svg, field = view.svg, _thinned(plan)
    rings: list[Floats] = []
    with svg.group("plan", id=f"plan-{plan.id}", transform=view.transform):
        draw_blank(svg, board.blank.bounds, id=None)
        draw_bands(view, field, bands, rising=True)
        marks = _contours(view, field)
        for casting in board.castings:
            svg.path(polygon_path(casting.area, view.places), "casting narrow")
        svg.path(polygon_path(board.outline, view.places), "outline uncut")
        if study.cover.edge is not None:
            svg.path(polygon_path(study.cover.edge, view.places), "skin-edge hidden")
        if plan.worst.value > plan.bound:
            rings = contour(field.xs, field.ys, field.grid, plan.bound)
            data = "".join(polyline_path(line, view.places) for line in rings)
            svg.path(data, "bridges wide", id=f"bridges-{plan.id}")
    labels = Labels(svg, Box(MAIN.x0 + 1, view.extent.y0 - 6, MAIN.x1 - 1, view.extent.y1 + 6))
    labels.lines = lines_to_avoid(view, [board.blank, board.outline], [])
    x, y = view.sheet(plan.worst.x, plan.worst.y)
    svg.add("circle", class_="mark cutter", cx=x, cy=y, r=0.9)
    labels.block(Box(x - 1, y - 1, x + 1, y + 1))
    labels.place(x, y, f"most {plan.worst.value:.2f} {unit}", 1.2, class_="label strong halo")
    set_figures(view, labels, marks)
    return bool(rings)


def _contours(view: PlanView, field: Field) -> list[tuple[str, float, float]]:
    with view.svg.group("lines"):
        return draw_lines(view, field)


def _thinned(plan: _Plan) -> Field:
    """Return the values on no more nodes than the sheet can show, the outermost kept."""

    def places(nodes: Floats) -> NDArray[np.int64]:
        return np.unique(
            np.linspace(0, len(nodes) - 1, min(len(nodes), _MOST_NODES)).round().astype(np.int64)
        )

    i, j = places(plan.xs), places(plan.ys)
    return Field(plan.xs[i], plan.ys[j], np.ascontiguousarray(plan.values[np.ix_(i, j)]))


def _side(svg: Document, job: Job, sheet: _Sheet, bands: Bands, digest: str, ringed: bool) -> None:
    assert job.skin is not None
    rows = [
        ("job", job.title),
        ("map", sheet.title),
        (
            "skin",
            f"{shown(job.skin.thickness)} {UNIT}, {number(job.skin.modulus)} GPa, covers the "
            f"{job.skin.covers}",
        ),
        ("plan", digest),
    ]
    bottom = side_block(svg, rows)
    y = SIDE.y0
    with svg.group("legend", id="legend"):
        svg.text(SIDE.x0 + 2, y + 4, sheet.unit, "label strong", size=NORMAL)
        y += 7.0
        for band in range(bands.count):
            text = f"{bands.bounds[band]:.2f} to {bands.bounds[band + 1]:.2f}".replace(
                "-0.00", "0.00"
            )
            swatch(svg, SIDE, y, f"f{bands.count - 1 - band}", text, "figure")
            y += 5.2
        samples = [
            ("contour", "equal figures"),
            ("uncut", "outline of the board"),
            ("narrow", "groove and plugs"),
        ]
        if ringed:
            samples.append(("wide", sheet.ringed))
        y = line_kinds(svg, SIDE, y, samples)
    lines = [text for line in sheet.said for text in (*wrapped(line, SMALL, SIDE.width - 8), "")]
    with svg.group("said", id="said"):
        for k, line in enumerate(lines[: int((bottom - y - 8) // _PITCH)]):
            svg.text(SIDE.x0 + 2, y + 8 + k * _PITCH, line, size=SMALL)
