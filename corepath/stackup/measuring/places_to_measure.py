"""Where to measure a blank: the places that can be reached and tell most, and the form for figures.

Board frame, mm. Callipers reach as far in from an edge as their throat is deep; farther in only the
height above the bed is measured, with a gauge, as the blank is held in A. Corners, middles of the
sides and the middle determine wedge, twist and cup. Then come the plugs and the ends of the groove,
where the depths count, and the rest of the sides. Within each group the place comes first that adds
most to a fitted surface of second degree: the one that makes the determinant of its normal matrix
largest (D-optimal design; Fedorov, Theory of Optimal Experiments, from memory). The result is
listed as one walk round the blank and then inwards.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Point, Polygon

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.job.text.schema import KEY, MEASURED
from corepath.lengths import units_of

__all__ = ["MOST", "THROAT", "MeasuringPlace", "measuring_places", "template_text"]

THROAT = 95.0
"""mm from the edge that callipers with a throat of 100 mm reach (common practice, no source)."""

# places listed at most
MOST = 16
# mm from the edges to the outermost places
_INSET = 15.0
# mm between two places, at least; and the same as a share of the blank's longer side, which does
# not apply to plugs
_APART = 40.0
_SHARE_APART = 0.08
# mm between a place and a dowel's hole or an obstacle
_CLEAR = 8.0
# mm by which a place is moved aside at a time where something is in its way
_NUDGE = 12.0
# radians before the front left corner at which the walk begins: with the same inset from both edges
# the corner's own angle lies a little before the diagonal, and it should come first
_START = 0.1


@dataclass(frozen=True, slots=True)
class MeasuringPlace:
    """One place (mm, board frame): `what` to measure there, "thickness and height" or "height", and
    `why` in words."""

    x: float
    y: float
    what: str
    why: str


def measuring_places(job: Job, board: Board) -> tuple[MeasuringPlace, ...]:
    """Return 9 to 16 places to measure, in the order to walk them.

    Fewer only on a very small blank; none over a dowel or under an obstacle of set-up A.
    """
    chosen: list[tuple[float, float, str]] = []
    frame = _frame(job)
    for x, y, why in frame:
        _take(chosen, (x, y, why), job, board)
    for group in (_plugs(board), _groove_ends(board), _along_sides(job)):
        left = list(group)
        # Greedy: after each choice the gains of the others are no longer what they were.
        while left and len(chosen) < MOST:
            left.sort(key=lambda place: (-round(_gain(chosen, place, job), 6), place[0], place[1]))
            _take(chosen, left.pop(0), job, board)
    walk = sorted(chosen[:MOST], key=lambda place: _in_order(place, job))
    return tuple(MeasuringPlace(x, y, _what(x, y, job), why) for x, y, why in walk)


def _frame(job: Job) -> Iterator[tuple[float, float, str]]:
    x, y = _inner(job)
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        yield sx * x, sy * y, f"corner, {_end(sx)} {_side(sy)}"
    for sx in (-1, 1):
        yield sx * x, 0.0, f"middle of the {_end(sx)} end"
    for sy in (-1, 1):
        yield 0.0, sy * y, f"middle of the {_side(sy)} side"
    yield 0.0, 0.0, "middle, for cup and bow"


def _end(sign: float) -> str:
    return "right" if sign > 0 else "left"


def _side(sign: float) -> str:
    return "back" if sign > 0 else "front"


def _inner(job: Job) -> tuple[float, float]:
    inset = min(_INSET, job.blank.length / 12, job.blank.width / 12)
    return job.blank.length / 2 - inset, job.blank.width / 2 - inset


def _plugs(board: Board) -> Iterator[tuple[float, float, str]]:
    for casting in board.castings:
        if casting.kind == "plug":
            middle = casting.area.centroid
            yield round(middle.x, 1), round(middle.y, 1), f"over plug {casting.id}"


def _groove_ends(board: Board) -> Iterator[tuple[float, float, str]]:
    """Yield where the middle line of the groove lies farthest out in each direction."""
    ring = board.ring
    wall = np.asarray(ring.exterior.coords)
    inner = Polygon(ring.interiors[0]) if ring.interiors else None
    for axis, sign in ((0, -1), (0, 1), (1, -1), (1, 1)):
        x, y = wall[int(np.argmax(np.round(sign * wall[:, axis], 6)))]
        if inner is not None:
            near = inner.exterior.interpolate(inner.exterior.project(Point(x, y)))
            x, y = (x + near.x) / 2, (y + near.y) / 2
        name = (_end(sign) if axis == 0 else _side(sign)) + (" end" if axis == 0 else " side")
        yield round(float(x), 1), round(float(y), 1), f"over the groove, {name}"


def _along_sides(job: Job) -> Iterator[tuple[float, float, str]]:
    """Yield the quarter points of the two longer sides."""
    x, y = _inner(job)
    long_x = job.blank.length >= job.blank.width
    for s in (-1, 1):
        for t in (-0.5, 0.5):
            if long_x:
                yield round(t * x, 1), s * y, f"{_side(s)} side, {_end(t)} of the middle"
            else:
                yield s * x, round(t * y, 1), f"{_end(s)} end, {_side(t)} of the middle"


def _take(
    chosen: list[tuple[float, float, str]], place: tuple[float, float, str], job: Job, board: Board
) -> None:
    """Add the place to `chosen`, moved a little where something is in the way; not where another
    place is close by already."""
    x, y, why = place
    spot = _cleared(x, y, job, board)
    apart = min(_APART, min(job.blank.length, job.blank.width) / 4)
    if "plug" not in why:
        apart = max(apart, _SHARE_APART * max(job.blank.length, job.blank.width))
    if spot is None or any(math.hypot(spot[0] - a, spot[1] - b) < apart for a, b, _ in chosen):
        return
    chosen.append((*spot, why))


def _cleared(x: float, y: float, job: Job, board: Board) -> tuple[float, float] | None:
    """Return the place nearest to (x, y) that is over no dowel and under no obstacle; None where
    none is close by."""
    # Eight directions at growing distance, the place itself first: up to 84 mm away.
    half_x, half_y = job.blank.length / 2, job.blank.width / 2
    for ring in range(8):
        for turn in range(1 if ring == 0 else 8):
            angle = math.pi / 4 * turn
            px = round(x + ring * _NUDGE * math.cos(angle), 1)
            py = round(y + ring * _NUDGE * math.sin(angle), 1)
            on = abs(px) < half_x and abs(py) < half_y
            if on and _is_free(Point(px, py), job, board):
                return px + 0.0, py + 0.0
    return None


def _is_free(spot: Point, job: Job, board: Board) -> bool:
    dowels = (
        spot.distance(Point(*dowel.at)) > dowel.diameter / 2 + _CLEAR for dowel in board.dowels
    )
    obstacles = (
        spot.distance(Polygon(obstacle.points)) > _CLEAR
        for obstacle in job.obstacle
        if "A" in obstacle.setups
    )
    return all(dowels) and all(obstacles)


def _gain(
    chosen: Sequence[tuple[float, float, str]], place: tuple[float, float, str], job: Job
) -> float:
    """Return by what factor a figure at `place` raises the determinant of the normal matrix.

    That is 1 + the leverage of the new row (matrix determinant lemma).
    """
    # 1e-6 keeps the matrix invertible while fewer than six places are chosen; columns are of order
    # 1, so that it does not count once they are determined.
    rows = np.array([_terms(x, y, job) for x, y, _ in chosen])
    new = np.array(_terms(place[0], place[1], job))
    normal = rows.T @ rows + 1e-6 * np.eye(len(new)) if len(rows) else 1e-6 * np.eye(len(new))
    return 1.0 + float(new @ np.linalg.solve(normal, new))


def _terms(x: float, y: float, job: Job) -> tuple[float, ...]:
    u, v = 2 * x / job.blank.length, 2 * y / job.blank.width
    return 1.0, u, v, u * u, u * v, v * v


def _what(x: float, y: float, job: Job) -> str:
    off = min(job.blank.length / 2 - abs(x), job.blank.width / 2 - abs(y))
    return "thickness and height" if off <= THROAT else "height"


def _in_order(place: tuple[float, float, str], job: Job) -> tuple[int, float, float, float]:
    """Return the sort key of the walk: places that callipers reach, anticlockwise from the front
    left corner, then the inner ones from left to right."""
    x, y, _ = place
    if _what(x, y, job) == "height":
        return 1, round(x, 3), round(y, 3), 0.0
    before_corner = math.atan2(-1.0, -1.0) - _START
    angle = math.atan2(2 * y / job.blank.width, 2 * x / job.blank.length) - before_corner
    return 0, round(angle % (2 * math.pi), 6), round(x, 3), round(y, 3)


_HEAD = (
    "Measured blank for {title}. Lengths in {unit}, with a decimal point.",
    "x along the length, y across, both from the middle of the blank, deck side up: mark them with "
    "tape and pencil.",
    "thickness: callipers, blank alone, jaws square, the middle of three figures. height: gauge or "
    "indicator from",
    "the bed to the raw top, the blank on the bed and held as it will be cut. Clean bed, no chips "
    "under the blank.",
    "Leave a cell empty where you did not measure; add lines as you like, more near the edges say "
    "more.",
    'Then name this file in the job: [blank] measured = "{name}".',
)


def template_text(job: Job, board: Board, name: str = "") -> str:
    """Return the text of `NAME.measure.csv`: how to measure, and a line with empty cells for each
    place.

    Lengths are in the job's units. `name` is the file's own name, for the last line of the head.
    """
    units = units_of(job.units)
    head = [line.format(title=_plain(job.title), unit=units.words, name=name) for line in _HEAD]
    if not name:
        head.pop()
    lines = [f"# {line}" for line in (f"{KEY} = {MEASURED.newest}", *head)]
    lines.append("x,y,thickness,height,place")
    for place in measuring_places(job, board):
        x, y = (units.figure(value, ".1n") for value in (place.x, place.y))
        also = (
            "" if place.what == "thickness and height" else "; height only: callipers do not reach"
        )
        lines.append(f'{x},{y},,,"{place.why}{also}"')
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    return "".join(sign for sign in text if sign.isprintable())
