"""The form itself: ribs of one profile along the board, spacers across, from the same curve as
everything else.

All ribs of a cylinder are alike: their tops follow the rocker less the covering bent over them. A
rib's drawing has X along the chord and Y up from the table, mm; `rib_height` is from the table to
the form's top at its lowest place.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.board.features import Board
from corepath.errors import Fault, InputError
from corepath.geometry.step_counts import fewest_steps
from corepath.job.model import Job, LayupSection
from corepath.layup.curve import rocker_of
from corepath.layup.laid import LaidUp, laid_up, pad_of, pins_of
from corepath.layup.template_lines import Curve, Shape, TemplateLines, Words, apart, bar, check_bars
from corepath.lengths import UNIT, mm, said_all, units_of

__all__ = ["Form", "form_of", "form_template"]

Floats = NDArray[np.float64]

_CHORD = 0.002  # mm: chords of the drawn profile
_GAP = 25.0  # mm on the drawing between rib and spacer


Stood = tuple[str, tuple[float, float], float]
"""A pin in the form: its name, (X along the chord, Y across), and how it leans, radians, positive
towards X-."""


@dataclass(frozen=True, slots=True)
class Form:
    """The parts of the form. `top` (n, 2) is the edge of each rib, from X- to X+, over the table at
    0.

    `ribs` of them stand at `across` (their middles, Y of the board), with `spacers` of `spacer`
    (length, height) between neighbours at the chord places `along`. `marks` (m, 2) lie on the top
    where the flat core has its ticks, each 100 mm or, in an inch job, each 4 in. `pins`: where the
    board's dowel holes come to lie, and `plugs`, where plugs do: name and ((x, y across), how the
    board's normal leans there, radians).
    """

    top: Floats
    ribs: int
    across: tuple[float, ...]
    spacer: tuple[float, float]
    along: tuple[float, ...]
    marks: Floats
    thickness: float
    pins: tuple[Stood, ...] = ()
    plugs: tuple[Stood, ...] = ()

    @property
    def spacers(self) -> int:
        return (self.ribs - 1) * len(self.along)


def form_of(job: Job, board: Board, cradle: bool = False) -> Form:
    """Returns ribs and spacers for the job's rocker, or for that of its cradle. Raises InputError
    where there is none, or the ribs leave no room."""
    layup = job.layup
    if layup is None or layup.rocker is None:
        raise InputError(
            [
                Fault(
                    "layup.rocker",
                    "missing: without a rocker there is no form",
                    allowed="[[x, rise], …]",
                )
            ]
        )
    if layup.form_skin >= layup.rib_height:
        allowed = f"less than layup.rib_height, {mm(layup.rib_height):g~}"
        raise InputError(
            [
                Fault(
                    "layup.form_skin",
                    "nothing is left of the ribs",
                    f"{mm(layup.form_skin):g}",
                    allowed,
                )
            ]
        )
    laid = laid_up(job, board, None if cradle else rocker_of(job))
    if cradle:
        high = layup.rib_height if layup.cradle_height is None else layup.cradle_height
        layup = layup.model_copy(update={"rib_height": high})
    across = _spread(job.blank.width, layup)
    start, end = laid.ends
    along = tuple(
        float(x)
        for x in np.linspace(start, end, max(2, math.ceil((end - start) / layup.rib_spacing) + 1))
    )
    base = _base(laid, layup)
    step = apart(units_of(job.units))
    most = math.floor(job.blank.length / 2.0 / step)
    under = laid.under(step * np.arange(-most, most + 1))
    return Form(
        top=_profile(laid, layup, np.array([start, end])) - (0.0, base),
        ribs=len(across),
        across=across,
        spacer=(across[1] - across[0] - layup.rib_thickness, layup.rib_height - layup.form_skin),
        along=along,
        marks=_lowered(laid, layup, under) - (0.0, base),
        thickness=layup.rib_thickness,
        pins=_stood(laid, [(f"dowel {k}", one.at) for k, one in enumerate(board.dowels, start=1)]),
        plugs=_stood(
            laid,
            [
                (one.id, (one.area.envelope.centroid.x, one.area.envelope.centroid.y))
                for one in board.castings
                if one.plug is not None
            ],
        ),
    )


def _stood(laid: LaidUp, places: list[tuple[str, tuple[float, float]]]) -> tuple[Stood, ...]:
    pins = pins_of(laid, [at for _, at in places])
    return tuple(
        (name, (pin.x, pin.y), pin.tilt) for (name, _), pin in zip(places, pins, strict=True)
    )


def _spread(width: float, layup: LayupSection) -> tuple[float, ...]:
    """Middles of the ribs, the outer ones flush with the blank's edges, no farther apart than asked
    for."""
    room = width - layup.rib_thickness
    if room <= layup.rib_thickness:
        allowed = f"less than half of blank.width, {mm(width / 2.0):g~}"
        says = "two ribs do not fit under the blank"
        raise InputError(
            [Fault("layup.rib_thickness", says, f"{mm(layup.rib_thickness):g}", allowed)]
        )
    count = max(1, fewest_steps(room, layup.rib_spacing))
    return tuple(float(y) for y in np.linspace(-room / 2.0, room / 2.0, count + 1))


def _base(laid: LaidUp, layup: LayupSection) -> float:
    """Rise at which the table lies."""
    return laid.lowest - layup.rib_height


def _lowered(laid: LaidUp, layup: LayupSection, x: Floats) -> Floats:
    """Places of the rib's top under the form's places over chord `x`: square to the form, below the
    covering."""
    angle = laid.rocker.angle(x)
    down = layup.form_skin
    return np.column_stack([x + down * np.sin(angle), laid.bottom(x) - down * np.cos(angle)])


def _profile(laid: LaidUp, layup: LayupSection, ends: Floats) -> Floats:
    x = np.arange(math.ceil(ends[0]), ends[1], 1.0)
    dense = _lowered(laid, layup, np.unique(np.concatenate([ends, x])))
    return np.asarray(shapely.LineString(dense).simplify(_CHORD).coords)


def form_template(job: Job, board: Board, digest: str, cradle: bool = False) -> TemplateLines:
    """Returns the template of one rib with the places of spacers, of the core's ticks and of pins,
    one spacer, and how many of each, for the form or its cradle; `digest` names the plan on it."""
    form = form_of(job, board, cradle)
    name = "cradle" if cradle else "form"
    more = _pad_says(job, board) if cradle else ()
    says, units = said_all((*_says(job, form), *more)), units_of(job.units)
    lines = (f"{job.title}: {name}", f"plan {digest}", *says)
    left, right = float(form.top[0, 0]), float(form.top[-1, 0])
    outer = np.vstack([form.top, [(right, 0.0), (left, 0.0)]])
    shapes: list[Shape] = [Curve("rib", outer, closed=True), *_rib_marks(form)]
    long, high = form.spacer
    low = -_GAP - high
    corners = np.array(
        [(left, low), (left + long, low), (left + long, low + high), (left, low + high)]
    )
    shapes.append(Curve("spacer", corners, closed=True))
    shapes += check_bars(left, low - 12.0 - bar(units), units)
    shapes += [
        Words("notes", left + 120.0, low - 12.0 - 6.0 * k, line) for k, line in enumerate(lines)
    ]
    return TemplateLines(f"{job.title}: {name}", tuple(shapes), says, units)


def _rib_marks(form: Form) -> Iterator[Shape]:
    for x in form.along:
        top = float(np.interp(x, form.top[:, 0], form.top[:, 1]))
        inner = min(
            max(x, float(form.top[0, 0]) + form.thickness / 2.0),
            float(form.top[-1, 0]) - form.thickness / 2.0,
        )
        for side in (-form.thickness / 2.0, form.thickness / 2.0):
            yield Curve(
                "spacer places",
                np.array([(inner + side, 0.0), (inner + side, min(top, form.spacer[1]))]),
            )
    for x, y in form.marks.tolist():
        yield Curve("core hundreds", np.array([(x, y), (x, y - 6.0)]))
    for layer, stood in (("pins", form.pins), ("plug places", form.plugs)):
        for _, (x, _), lean in stood:
            top = float(np.interp(x, form.top[:, 0], form.top[:, 1]))
            up = 12.0 * np.array([-math.sin(lean), math.cos(lean)])
            yield Curve(layer, np.array([(x, top), (x + up[0], top + up[1])]))
    yield Curve(
        "centre lines",
        np.array([(0.0, 0.0), (0.0, float(np.interp(0.0, form.top[:, 0], form.top[:, 1])))]),
    )


def _says(job: Job, form: Form) -> Iterator[str]:
    yield "full size; X+ to the right, the table at the ribs' straight edge"
    left, low, right = form.top[0, 1], form.top[:, 1].min(), form.top[-1, 1]
    high = (
        f"{mm(left):.2f} high at its left end, {mm(low):.2f} at its lowest, {mm(right):.2f} at "
        "its right end"
    )
    yield f"a rib is {high}; {UNIT}"
    between = form.across[1] - form.across[0]
    places = ", ".join(f"{mm(y):.1f}" for y in form.across)
    yield (
        f"{form.ribs} ribs {mm(form.thickness):g} thick, {mm(between):.1f} apart, middles at "
        f"Y {places}"
    )
    long, tall = (mm(size) for size in form.spacer)
    yield f"{form.spacers} spacers {long:.1f} x {tall:.1f}, {len(form.along)} between each two ribs"
    covering = job.layup.form_skin if job.layup is not None else 0.0
    ticks = mm(apart(units_of(job.units)))
    yield (
        f"covering of {mm(covering):g} over the ribs; ticks on a rib: each {ticks:g~} of "
        "the flat core"
    )
    for name, stood in (("pins, square to the top", form.pins), ("plugs", form.plugs)):
        places = ", ".join(
            f"{one} X{mm(x):.1f} Y{mm(y):.1f} leaning {abs(math.degrees(lean)):.1f}°"
            for one, (x, y), lean in stood
        )
        if places:
            yield f"{name}: {places}"


def _pad_says(job: Job, board: Board) -> Iterator[str]:
    """Yield where Z is touched on the cradle, and what its curve is."""
    laid = laid_up(job, board)
    x, y, _ = pad_of(job, laid)
    yield (
        f"a pad to touch Z on at X{mm(x):.1f} Y{mm(y):.1f}, beside the board: its top level with "
        "the cradle's face at X0"
    )
    back = job.layup.spring_back if job.layup is not None else 0.0
    yield f"the form's curve, its ends {mm(back):.2f} lower (layup.spring_back)"
