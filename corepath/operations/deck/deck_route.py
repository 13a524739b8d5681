"""The order of lines and the turns between them: one path over a region without a lift.

Plane of the lines: u along them, v across, mm. From the end of a line the path turns round into the
start of the line that costs least to reach: half a circle where the next one runs the other way,
else straight across. Turns may begin *early*, by a share of their radius before a line's end, since
the turn sweeps what the line then does not. All links follow the surface like lines: they cut what
they meet and leave no mark.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["routed"]

Array = NDArray[np.float64]

_CHORD = 0.001
_WIDEST_TURN = 45.0
"""Farther apart lines are linked straight, mm."""
_ONWARD = 25.0
"""mm that a link into a line of the same direction costs on top: it stops twice."""


def routed(lines: list[Array], start: tuple[float, float], early: float) -> Array:
    """(n, 2) path through all `lines`, each (k, 2), beginning with the one that starts nearest to
    `start`."""
    firsts = np.array([line[0] for line in lines])
    lasts = np.array([line[-1] for line in lines])
    left = np.ones(len(lines), dtype=bool)
    path: list[Array] = []
    here, way = np.array(start, dtype=float), 0
    for _ in lines:
        k, way_on = _next(firsts, lasts, left, here, way, early)
        line = lines[k] if way_on > 0 else lines[k][::-1]
        if path and way_on == -way:
            path[-1], turn, line = _turned(path[-1], line, way, early)
            path.append(turn)
        path.append(line)
        left[k] = False
        here, way = (lasts[k] if way_on > 0 else firsts[k]), way_on
    return np.concatenate(path)


def _next(
    firsts: Array, lasts: Array, left: NDArray[np.bool_], here: Array, way: int, early: float
) -> tuple[int, int]:
    """Index and direction of the line to take next; ties go to the lower index."""
    choices = []
    for places, direction in ((firsts, 1), (lasts, -1)):
        along, aside = np.abs(places - here).T
        straight = np.hypot(along, aside)
        if way == 0:
            cost = straight
        elif direction == way:
            cost = straight + _ONWARD
        else:
            cost = np.where(
                aside < _WIDEST_TURN, aside * (math.pi / 2.0 - 0.9 * early) + along, straight + 10.0
            )
        cost = np.where(left, np.round(cost, 6), np.inf)
        k = int(np.argmin(cost))
        choices.append((float(cost[k]), k, direction))
    _, k, direction = min(choices, key=lambda choice: choice[0])
    return k, direction


def _turned(line: Array, after: Array, way: int, early: float) -> tuple[Array, Array, Array]:
    """The line shortened or lengthened to where the turn begins, the turn, and the next line from
    where it ends."""
    (end_u, end_v), (start_u, start_v) = line[-1], after[0]
    radius = 0.5 * abs(float(start_v - end_v))
    if not 0.25 < radius < 0.5 * _WIDEST_TURN:
        return line, np.empty((0, 2)), after
    at = max(end_u * way, start_u * way) - early * radius
    at = way * max(at, *(way * float(np.mean(ends[[0, -1], 0])) for ends in (line, after)))
    count = max(6, math.ceil(math.pi / (2.0 * math.acos(1.0 - _CHORD / radius))))
    angle = np.linspace(-0.5 * math.pi, 0.5 * math.pi, count + 1)[1:-1]
    turn = np.column_stack(
        [
            at + way * radius * np.cos(angle),
            0.5 * (end_v + start_v) + 0.5 * (start_v - end_v) * np.sin(angle),
        ]
    )
    kept = np.concatenate([line[(line[:, 0] - at) * way < -1e-6], [[at, end_v]]])
    onward = np.concatenate([[[at, start_v]], after[(after[:, 0] - at) * way < -1e-6]])
    return kept, turn, onward
