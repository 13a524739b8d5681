"""What set-up D needs on its plan besides: running dimensions along the chord, pins, the pad that Z
is touched on, and the line that nothing may stand inside of. Bed frame of D, mm."""

from __future__ import annotations

from collections.abc import Sequence

from shapely import Polygon

from corepath.layup.laid import bolts_of, drill_at, laid_up, pad_of, pins_of
from corepath.lengths import mm
from corepath.views.drawing_sheet import SMALL, Labels
from corepath.views.drawings.plan_view import PlanView
from corepath.views.drawings.scene import Scene
from corepath.views.svg import Document, polygon_path, shown
from corepath.work.keepoff import CLEARANCE
from corepath.work.works import Work

__all__ = [
    "RUNNING",
    "draw_hold_clear",
    "hold_clear",
    "hold_down_words",
    "name_pad",
    "running",
    "running_places",
]

RUNNING = 28.0
"""mm on the page that the running dimensions take below the blank."""

_APART = 3.2  # mm on the page between two figures


def hold_clear(works: Sequence[Work]) -> Polygon | None:
    """Return the area in which nothing may stand beside the board while it is trimmed: both laps of
    the cutter, and its clearance; None without a trim."""
    for work in works:
        if work.trim is not None:
            reach = 2.0 * work.cutter.radius + work.trim.finish + CLEARANCE
            return Polygon(work.trim.area.buffer(reach, quad_segs=32).exterior)
    return None


def hold_down_words(works: Sequence[Work]) -> str:
    """Return where on the rim clamps or screws may hold the board; empty without a trim."""
    clear = hold_clear(works)
    if clear is None:
        return ""
    (left, low, right, high), (x0, y0, x1, y1) = clear.bounds, works[0].blank.bounds
    sides, ends = min(low - y0, y1 - high), min(left - x0, x1 - right)
    parts = [
        f"{mm(room):.1f} from its {name}"
        for room, name in ((sides, "long edges"), (ends, "ends"))
        if room > 0.0
    ]
    if not parts:
        return "no clamp fits on the rim anywhere along it: hold the board from below"
    return (
        f"hold the rim down within {' or '.join(parts)}, outside the dashed line of the drawing, "
        "clear of both laps of the trim; list what stands there as [[obstacle]] with setups "
        '["D"]'
    )


def running_places(scene: Scene) -> tuple[tuple[float, str], ...]:
    """Return (X, name) of all that is found along the chord, from the middle of the blank, in order
    of X: its ends, pins for the dowel holes, bolts."""
    laid = laid_up(scene.job, scene.board)
    pins = pins_of(laid, [dowel.at for dowel in scene.board.dowels])
    start, end = laid.ends
    found = [(start, "end"), (0.0, "X0"), (end, "end")]
    found += [(pin.x, f"pin {number}") for number, pin in enumerate(pins, start=1)]
    found += [(drill_at(laid, bolt)[0], bolt.id) for bolt in bolts_of(scene.job, scene.board)]
    return tuple(sorted(found, key=lambda one: (round(one[0], 6), one[1])))


def running(svg: Document, view: PlanView, scene: Scene, bottom: float) -> None:
    """Draw the running dimensions: a line down from each place to its figure and name, read
    upwards; where two are too close their figures move apart."""
    places = running_places(scene)
    at = [view.sheet(x, 0.0)[0] for x, _ in places]
    spread = _spread(at)
    for (x, name), true, shifted in zip(places, at, spread, strict=True):
        for x0, y0, x1, y1 in (
            (true, bottom + 1.0, true, bottom + 4.0),
            (true, bottom + 4.0, shifted, bottom + 7.0),
        ):
            svg.line(x0, y0, x1, y1, "faint")
        text = f"{name} {shown(x, 1)}"
        at_line = (shifted + SMALL / 3.0, bottom + 8.0)
        svg.upward_text(*at_line, text, "dimension", size=SMALL, anchor="end")


def _spread(at: Sequence[float]) -> list[float]:
    """Return the places of the figures, ascending and `_APART` apart, each group over its own
    middle."""
    groups: list[list[float]] = []
    for x in at:
        groups.append([x])
        while len(groups) > 1 and _first(groups[-1]) - _last(groups[-2]) < _APART:
            last = groups.pop()
            groups[-1] += last
    return [_first(group) + _APART * k for group in groups for k in range(len(group))]


def _first(group: Sequence[float]) -> float:
    return sum(group) / len(group) - _APART * (len(group) - 1) / 2.0


def _last(group: Sequence[float]) -> float:
    return _first(group) + _APART * (len(group) - 1)


def draw_hold_clear(view: PlanView, works: Sequence[Work]) -> None:
    """Draw the line that hold-downs stay outside of, within the group of the plan."""
    clear = hold_clear(works)
    if clear is not None:
        view.svg.path(polygon_path(clear, view.places), "hidden hold-clear")


def name_pad(view: PlanView, labels: Labels, scene: Scene, works: Sequence[Work]) -> None:
    """Say where the pad lies that Z is touched on."""
    laid = laid_up(scene.job, scene.board)
    x, y, _ = pad_of(scene.job, laid)
    words = f"pad for Z: X{shown(x, 1)} Y{shown(y, 1)}"
    low, left = works[0].blank.bounds[1], works[0].blank.bounds[0]
    sx, sy = view.sheet(max(x, left), max(y, low))
    labels.place(sx, sy, words, 1.0, class_="label halo")
