"""The blank as the operator sees it in one set-up: faces, pencil marks, grain, zero, dowels,
obstacles.

Plan from above, bed frame of the set-up, mm: X to the right, Y away from the operator, who stands
at the lower edge. In B it is mirrored by the flip, its words are not. The drawing is `WIDTH` mm
wide on the printed page, unless its room says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from corepath.lengths import UNIT
from corepath.motion.program import Setup
from corepath.views.drawing_sheet import (
    NORMAL,
    SMALL,
    Labels,
    arrowhead,
    best_scale,
    dimension_across,
    dimension_along,
    scale_bar,
    scale_words,
)  # fmt: skip
from corepath.views.drawings.laid_marks import RUNNING, draw_hold_clear, name_pad, running
from corepath.views.drawings.legend import sample
from corepath.views.drawings.marks import lines_to_avoid, name_features, touch_mark, zero_mark
from corepath.views.drawings.plan_view import (
    PlanView,
    draw_castings,
    draw_features,
    draw_obstacles,
    draw_spared,
    draw_work,
)
from corepath.views.sheet_html.facts import Facts
from corepath.views.sheet_html.inline import inlined
from corepath.views.svg import Box, Document, number, shown, text_width
from corepath.work.holding import screws_of, standing
from corepath.work.works import Work

__all__ = [
    "FULL_ROOM", "PLACES_ROOM", "WIDTH", "SetupRoom", "drawing_height", "drawing_unit", "marks_of",
    "setup_drawing",
]  # fmt: skip

WIDTH = 186.0
_ABOVE, _BELOW, _LEFT, _RIGHT = 6.5, 24.0, 19.0, 14.0
_LEGEND_ROW = 5.2
_SCALE_ROW = 10.0
PLACES_ROOM = Box(9.0, 6.0, WIDTH - 9.0, 52.0)
"""The room for the blank in the drawing of the places to measure."""


@dataclass(frozen=True, slots=True)
class SetupRoom:
    """How wide the drawing of a set-up is on its page and how tall its blank may be, mm.

    `style` begins the names of its styles and hatchings, of which a page may have several.
    `scaled`: it is printed in its size, with a bar that shows its scale. `legend`: it says what its
    lines and hatchings mean.
    """

    width: float = WIDTH
    tallest: float = 105.0
    style: str = "plan"
    scaled: bool = True
    legend: bool = True

    def name(self, setup: str) -> str:
        """Return the name of the styles of a set-up."""
        return f"{self.style}-{setup.lower()}"


FULL_ROOM = SetupRoom()


def drawing_unit(facts: Facts, setup: str, room: SetupRoom = FULL_ROOM) -> float:
    """Return the model mm of one mm of the page in the plan of a set-up; "0" is the drawing of the
    places to measure."""
    if setup == "0":
        x0, y0, x1, y1 = facts.board.blank.bounds
        return 1.0 / best_scale(x1 - x0, y1 - y0, PLACES_ROOM)
    return 1.0 / _scale(_bounds(facts, _letter(setup)), room)


def _letter(setup: str) -> Setup:
    letters: tuple[Setup, ...] = ("A", "B", "C", "D")
    return next(letter for letter in letters if letter == setup)


def _scale(bounds: tuple[float, float, float, float], room: SetupRoom) -> float:
    x0, y0, x1, y1 = bounds
    if not room.scaled:
        return min((room.width - _LEFT - _RIGHT) / (x1 - x0), room.tallest / (y1 - y0))
    return best_scale(x1 - x0, y1 - y0, Box(_LEFT, 0.0, room.width - _RIGHT, room.tallest))


def marks_of(facts: Facts, setup: Setup) -> dict[str, str]:
    """Return where the pencil marks of A lie in `setup`: words for the near, far, left and right
    edge."""
    near, far, left, right = "front edge", "back edge", "X− end", "X+ end"
    if setup == "B" and facts.job.machine.flip_about == "x":
        near, far = far, near
    elif setup == "B":
        left, right = right, left
    return {"near": near, "far": far, "left": left, "right": right}


def setup_drawing(facts: Facts, setup: Setup, only: str = "", room: SetupRoom = FULL_ROOM) -> str:
    """Return the drawing of a set-up as an SVG element; `only` names its one operation, without it
    all are drawn except a flush."""
    return facts.drawn.of((setup, only, room), lambda: _drawn(facts, setup, only, room))


def _drawn(facts: Facts, setup: Setup, only: str, room: SetupRoom) -> str:
    scene = facts.scene(setup)
    works = tuple(
        work
        for work in facts.works_of(setup)
        if (work.name == only if only else work.name != "flush")
    )
    bounds = _bounds(facts, setup)
    scale = _scale(bounds, room)
    rows = _legend_rows(facts, setup, room)
    above, height = _above(facts, setup), drawing_height(facts, setup, room)
    title = f"Set-up {setup}: {scene.pose.caption.lower()}"
    svg = Document(room.width, height, title, "", scene.turned)
    name = room.name(setup)
    # The drawing of a flush is in the same HTML file as that of set-up A, whose hatchings it uses.
    if not only:
        with svg.defs():
            for hatch, pitch in (("resin", 1.8), ("obstacle", 1.0)):
                with svg.group(name):
                    svg.hatch(f"{hatch}-{name}", pitch / scale, "hatching", up=True)
    high = (bounds[3] - bounds[1]) * scale
    held = Box(_LEFT, above, room.width - _RIGHT, above + high)
    view = PlanView.fitted(svg, bounds, held, scale)
    with svg.group(name, transform=view.transform):
        _plan(view, facts, setup, works)
    _around(view, facts, setup, works)
    if room.scaled:
        _scale_row(view, facts, works)
    _legend(svg, rows, height - len(rows) * _LEGEND_ROW)
    return inlined(svg, only or (setup.lower() if room is FULL_ROOM else name))


def drawing_height(facts: Facts, setup: Setup, room: SetupRoom = FULL_ROOM) -> float:
    """Return the height of the drawing of a set-up, mm."""
    bounds = _bounds(facts, setup)
    below = (_BELOW if room.scaled else _BELOW - _SCALE_ROW) + _running_room(setup)
    blank = (bounds[3] - bounds[1]) * _scale(bounds, room)
    rows = len(_legend_rows(facts, setup, room))
    return _above(facts, setup) + blank + below + rows * _LEGEND_ROW


def _legend_rows(facts: Facts, setup: Setup, room: SetupRoom) -> list[list[tuple[float, str, str]]]:
    return _laid(_kinds(facts, setup), room.width) if room.legend else []


def _above(facts: Facts, setup: Setup) -> float:
    """Return the room above the blank: more where the arrow of a flip about Y is drawn."""
    return _ABOVE + 6.0 if setup == "B" and facts.job.machine.flip_about == "y" else _ABOVE


def _bounds(facts: Facts, setup: Setup) -> tuple[float, float, float, float]:
    boxes = [
        facts.works_of(setup)[0].blank.bounds,
        *(one.area.bounds for one in standing(facts.job, facts.stackup, setup)),
    ]
    lows = [min(box[k] for box in boxes) for k in (0, 1)]
    highs = [max(box[k] for box in boxes) for k in (2, 3)]
    return lows[0], lows[1], highs[0], highs[1]


def _plan(view: PlanView, facts: Facts, setup: Setup, works: Sequence[Work]) -> None:
    scene, svg = facts.scene(setup), view.svg
    x0, y0, x1, y1 = works[0].blank.bounds
    svg.add("rect", class_="blank wood wide", x=x0, y=y0, width=x1 - x0, height=y1 - y0)
    for work in works:
        if setup == "C" and work.name == "deck":
            draw_spared(view, work)
        draw_work(view, work, ids=False)
    draw_castings(view, scene, works[0].order)
    draw_features(view, scene)
    draw_obstacles(view, [one.area for one in standing(facts.job, facts.stackup, setup)])
    if setup == "D":
        draw_hold_clear(view, works)
    if setup == "B":
        reach = 5 * view.unit
        along = facts.job.machine.flip_about == "x"
        x, y = (x1 + reach, 0.0) if along else (0.0, y1 + reach)
        svg.line(-x, -y, x, y, "centre")


def _around(view: PlanView, facts: Facts, setup: Setup, works: Sequence[Work]) -> None:
    svg, scene = view.svg, facts.scene(setup)
    x0, y0, x1, y1 = works[0].blank.bounds
    left, bottom = view.sheet(x0, y0)
    right, top = view.sheet(x1, y1)
    labels = Labels(svg, Box(left - 8, top - 1, right + 1, bottom + 1))
    labels.block(Box(left - 8, (top + bottom) / 2 - 9, left, (top + bottom) / 2 + 9))
    shapes = [
        scene.seen(shape)
        for shape in (scene.board.outline, *(c.area for c in scene.board.castings))
    ]
    labels.lines = lines_to_avoid(view, [works[0].blank, *shapes], [])
    _edges(view, facts, setup, Box(left, top, right, bottom))
    zero = works[0].zero
    zero_mark(svg, labels, *view.sheet(zero.x, zero.y))
    touched = facts.job.machine.touch_at
    if touched is not None and (
        facts.job.machine.z_zero == "face" or any(w.name == "inserts" for w in works)
    ):
        touch_mark(view, labels, *scene.at(*touched))
    _dowels(view, labels, facts, setup)
    name_features(view, labels, scene, dowels=False)
    for one in standing(facts.job, facts.stackup, setup):
        sx, sy = view.sheet(one.area.centroid.x, one.area.centroid.y)
        labels.place(sx, sy, f"{one.name}, {shown(one.height, 1)} high", 1.0, class_="label halo")
    if setup == "D":
        name_pad(view, labels, scene, works)
        running(svg, view, scene, bottom + 4.0)
    below = bottom + 5.5 + _running_room(setup)
    from_object = (bottom + 4.5) if setup != "D" else below
    dimension_along(svg, left, right, from_object, below + 4.5, shown(x1 - x0))
    dimension_across(svg, top, bottom, left - 4, left - 11.0, shown(y1 - y0))


def _running_room(setup: str) -> float:
    """Return the room below the blank for running dimensions, which set-up D has."""
    return RUNNING if setup == "D" else 0.0


def _scale_row(view: PlanView, facts: Facts, works: Sequence[Work]) -> None:
    """Draw the bar of the scale and the grain, below the dimension of the length."""
    below = view.sheet(*works[0].blank.bounds[:2])[1] + 5.5 + _running_room(works[0].setup)
    end = scale_bar(view.svg, _LEFT, below + 13.0, view.scale)
    words = f"scale {scale_words(view.scale)} as printed, figures in {UNIT}"
    box = view.svg.text(end + 12, below + 13.0, words, "label quiet", size=SMALL)
    _grain(view.svg, box.x1 + 10, below + 12.0)


def _edges(view: PlanView, facts: Facts, setup: Setup, blank: Box) -> None:
    """Draw the pencil marks where they lie now, where the operator stands, and in B the flip."""
    svg, marks = view.svg, marks_of(facts, setup)
    middle, across = (blank.x0 + blank.x1) / 2, (blank.y0 + blank.y1) / 2
    near = f"{marks['near']} – you stand here"
    svg.text(middle, blank.y1 + 4.4, near, "label strong", size=NORMAL, anchor="middle")
    svg.text(middle, blank.y0 - 2.0, marks["far"], "label strong", size=NORMAL, anchor="middle")
    svg.upward_text(
        blank.x0 - 1.6,
        across,
        marks["left"],
        "label strong",
        size=NORMAL,
        anchor="middle",
    )
    svg.upward_text(
        blank.x1 + 5.0,
        across,
        marks["right"],
        "label strong",
        size=NORMAL,
        anchor="middle",
    )
    if setup != "B":
        return
    if facts.job.machine.flip_about == "x":
        x = blank.x1 + 10.5
        svg.path(f"M{number(x)} {number(across + 8)}C{number(x + 4)} {number(across + 3)} "
                 f"{number(x + 4)} "
                 f"{number(across - 3)} {number(x)} {number(across - 8)}", "narrow")  # fmt: skip
        arrowhead(svg, x, across - 8, -2.3)
    else:
        low, high = number(blank.y0 - 7), number(blank.y0 - 10)
        ends = [number(middle + by) for by in (-8, -3, 3, 8)]
        svg.path(f"M{ends[0]} {low}C{ends[1]} {high} {ends[2]} {high} {ends[3]} {low}", "narrow")
        arrowhead(svg, middle + 8, blank.y0 - 7, 0.6)


def _dowels(view: PlanView, labels: Labels, facts: Facts, setup: Setup) -> None:
    """Set the dowels' names close to them, over lines if need be: there is little room there."""
    for dowel in facts.scene(setup).dowels:
        x, y = view.sheet(dowel.x, dowel.y)
        r = dowel.diameter / 2 * view.scale
        labels.block(Box(x - r, y - r, x + r, y + r))
        half = text_width(dowel.id, SMALL) / 2
        at = min(max(x, view.extent.x0 + half + 1.0), view.extent.x1 - half - 1.0)
        above = y - r - 2.4 - SMALL > view.extent.y0
        base = y - r - 2.4 if above else y + r + 2.4 + SMALL
        labels.block(
            view.svg.text(at, base, dowel.id, "label name halo", size=SMALL, anchor="middle")
        )


def _grain(svg: Document, x: float, y: float) -> None:
    """Draw a double arrow along the grain, which runs along X."""
    length = text_width("grain", SMALL) + 14
    svg.line(x, y, x + length, y, "narrow")
    arrowhead(svg, x, y, math.pi)
    arrowhead(svg, x + length, y, 0.0)
    svg.text(x + length / 2, y - 0.9, "grain", "label halo", size=SMALL, anchor="middle")


def _kinds(facts: Facts, setup: Setup) -> list[tuple[str, str]]:
    kinds = [
        ("zero", "work zero"),
        ("uncut", "board's outline"),
        ("hidden", "hidden, or cut later"),
    ]
    kinds.append(
        ("tint", "cut in this set-up")
        if setup != "C"
        else ("wood", "deck: all of the blank is cut")
    )
    if setup != "A":
        kinds.append(("resin", "cured casting"))
    if setup == "B":
        kinds.append(("centre", "axis of the flip"))
    if facts.job.machine.z_zero == "face" or (
        setup == "B" and facts.board.places and facts.job.machine.touch_at
    ):
        kinds.append(("touch", "where Z is touched"))
    if standing(facts.job, facts.stackup, setup) or screws_of(facts.job, setup):
        kinds.append(("obstacle", "keep off"))
    return kinds


def _laid(kinds: Sequence[tuple[str, str]], wide: float) -> list[list[tuple[float, str, str]]]:
    """Return the legend in rows of (x, kind, words) that fit a drawing that is `wide`, mm."""
    rows: list[list[tuple[float, str, str]]] = [[]]
    x = _LEFT
    for kind, words in kinds:
        width = 16.0 + text_width(words, SMALL) + 5.0
        if rows[-1] and x + width > wide:
            rows.append([])
            x = _LEFT
        rows[-1].append((x, kind, words))
        x += width
    return rows


def _legend(svg: Document, rows: Sequence[Sequence[tuple[float, str, str]]], y: float) -> None:
    for k, row in enumerate(rows):
        at = y + k * _LEGEND_ROW + 2.0
        for x, kind, words in row:
            sample(svg, kind, x, at)
            svg.text(x + 15.0, at + 1.1, words, size=SMALL)
