"""The order of lines and the turns between them: one path over a region without a lift.

Plane of the lines: u along them, v across, mm. From the end of a line the path turns into the start
of the line that costs least to reach: by half a circle where the next one runs the other way,
otherwise straight across. Turns may begin *early*, by a share of their radius before the end of a
line, since the turn sweeps what the line then does not. All links follow the surface as the lines
do: they cut what they meet and leave no mark.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

__all__ = ["WIDEST_TURN", "routed", "sequence", "turned"]

Array = NDArray[np.float64]

_CHORD = 0.01
"""mm between a turn and its chords, which are the path: heights follow them, and no place needs the
circle itself. √(a/8e) chords are passed in a second whatever the radius, 87 at 600 mm/s², where
0.001 would ask a control for 270."""
WIDEST_TURN = 45.0
"""mm; lines farther apart than this are linked straight."""
_ONWARD = 25.0
"""mm of path that a link into a line of the same direction costs in addition: the cutter stops
twice."""


def routed(lines: list[Array], start: tuple[float, float], early: float) -> Array:
    """A path (n, 2) through all `lines`, each (k, 2), mm, beginning with the one whose end lies
    nearest to `start`.

    `early` is the share of their radius by which turns begin before the end of a line.
    """
    path: list[Array] = []
    way = 0
    for line, way_on in sequence(lines, start, early):
        onward = line
        if path and way_on == -way:
            path[-1], turn, onward = turned(path[-1], line, way, early)
            path.append(turn)
        path.append(onward)
        way = way_on
    return np.concatenate(path)


def sequence(
    lines: list[Array], start: tuple[float, float], early: float
) -> Iterator[tuple[Array, int]]:
    """All `lines`, each the way it is run, and 1 or -1 for as given or reversed: always the one
    that costs least to reach."""
    firsts = np.array([line[0] for line in lines])
    lasts = np.array([line[-1] for line in lines])
    left = np.ones(len(lines), dtype=bool)
    # Direction 0 at first: nothing has been cut yet, any line may be taken either way.
    here, way = np.array(start, dtype=float), 0
    for _ in lines:
        k, way = _next(firsts, lasts, left, here, way, early)
        yield (lines[k] if way > 0 else lines[k][::-1]), way
        left[k] = False
        here = lasts[k] if way > 0 else firsts[k]


def _next(
    firsts: Array, lasts: Array, left: NDArray[np.bool_], here: Array, way: int, early: float
) -> tuple[int, int]:
    """Index and direction (1 as given, -1 reversed) of the line that costs least to take next; ties
    go to the lower index."""
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
                aside < WIDEST_TURN, aside * (math.pi / 2.0 - 0.9 * early) + along, straight + 10.0
            )
        # Rounded, so that a tie of floats does not decide on one machine otherwise than on another.
        cost = np.where(left, np.round(cost, 6), np.inf)
        k = int(np.argmin(cost))
        choices.append((float(cost[k]), k, direction))
    _, k, direction = min(choices, key=lambda choice: choice[0])
    return k, direction


def turned(line: Array, after: Array, way: int, early: float) -> tuple[Array, Array, Array]:
    """The line up to where the turn begins, the turn, and the next line from where it ends, each
    (k, 2) points (u, v); lines may come out shorter or longer.

    `way` is 1 for a line towards rising u, else -1, `early` as in `routed`.
    """
    (end_u, end_v), (start_u, start_v) = line[-1], after[0]
    radius = 0.5 * abs(float(start_v - end_v))
    # A smaller circle would be a corner for the machine all the same; a larger one costs more than
    # the way straight across.
    if not 0.25 < radius < 0.5 * WIDEST_TURN:
        return line, np.empty((0, 2)), after
    at = max(end_u * way, start_u * way) - early * radius
    # The turn begins no earlier than the middle of either line, so short lines keep half.
    at = way * max(at, *(way * float(np.mean(ends[[0, -1], 0])) for ends in (line, after)))
    count = max(6, math.ceil(math.pi / (2.0 * math.acos(1.0 - _CHORD / radius))))
    angle = np.linspace(-0.5 * math.pi, 0.5 * math.pi, count + 1)[1:-1]
    turn = np.column_stack(
        [
            at + way * radius * np.cos(angle),
            0.5 * (end_v + start_v) + 0.5 * (start_v - end_v) * np.sin(angle),
        ]
    )
    # Points before the turn only, and the place where it begins: none twice, which would be a move
    # of no length.
    kept = np.concatenate([line[(line[:, 0] - at) * way < -1e-6], [[at, end_v]]])
    onward = np.concatenate([[[at, start_v]], after[(after[:, 0] - at) * way < -1e-6]])
    return kept, turn, onward
