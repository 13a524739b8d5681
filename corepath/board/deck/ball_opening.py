"""Compiled loops of the morphological opening by a ball; for the terms see
`corepath.board.deck.crease`.

All lengths, heights included, are in steps of the lattice; `height` is (n, m); a ball has the
radius `ball`. A cap's top stands at T; its surface at the distance r from the middle is T - (ball -
sqrt(ball^2 - r^2)).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["cap_heights", "crease_points", "reachable", "swept"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

# the height where nothing limits a cap: far above every real one
_FAR = 1e30
# steps by which a cap may stand out of h and still count as below it. The cap is placed by the
# central difference at a node, and it touches h there: without an allowance, the error of that
# slope and rounding would call nodes of a smooth deck lost. What it lets pass stays unrounded:
# 0.0001 mm on the deck's grid of 1 mm.
_PIERCED = 1e-4
# nodes to either side of the ball's place that are searched over a node: a fixed number, since a
# search over the whole reach of the ball made the time grow with the square of its radius
_WINDOW = 10


@njit(cache=True)
def _room(height: Floats, ball: float, cx: float, cy: float, i: int, j: int) -> float:
    """How high the top of a cap at (cx, cy) may stand before it touches h at the node (i, j)."""
    if i < 0 or j < 0 or i >= height.shape[0] or j >= height.shape[1]:
        return _FAR
    left = ball * ball - (i - cx) ** 2 - (j - cy) ** 2
    if left <= 0.0:
        return _FAR
    room: float = height[i, j] + ball - math.sqrt(left)
    return room


@njit(cache=True)
def _descend(height: Floats, ball: float, cx: float, cy: float, i: int, j: int) -> tuple[int, int]:
    """The node of least room that is reached from (i, j) by going downhill."""
    # each round lowers the room and the nodes are finite, so it ends
    here = _room(height, ball, cx, cy, i, j)
    while True:
        best, bi, bj = here, i, j
        for a in range(-1, 2):
            for b in range(-1, 2):
                r = _room(height, ball, cx, cy, i + a, j + b)
                if r < best:
                    best, bi, bj = r, i + a, j + b
        if bi == i and bj == j:
            return i, j
        here, i, j = best, bi, bj


@njit(cache=True)
def _least(height: Floats, ball: float, cx: float, cy: float, i: int, j: int) -> float:
    """Least room near the node (i, j), between the nodes: the least value of the paraboloid whose
    slopes and curvatures are the central differences of the node's eight neighbours."""
    g = _room(height, ball, cx, cy, i, j)
    e, w = _room(height, ball, cx, cy, i + 1, j), _room(height, ball, cx, cy, i - 1, j)
    n, s = _room(height, ball, cx, cy, i, j + 1), _room(height, ball, cx, cy, i, j - 1)
    ne, sw = _room(height, ball, cx, cy, i + 1, j + 1), _room(height, ball, cx, cy, i - 1, j - 1)
    nw, se = _room(height, ball, cx, cy, i - 1, j + 1), _room(height, ball, cx, cy, i + 1, j - 1)
    if max(e, w, n, s) >= _FAR or max(ne, sw, nw, se) >= _FAR:
        return g
    gx, gy = 0.5 * (e - w), 0.5 * (n - s)
    xx, yy, xy = e + w - 2.0 * g, n + s - 2.0 * g, 0.25 * (ne + sw - nw - se)
    det = xx * yy - xy * xy
    # Along a trough the room is nearly the same and the paraboloid's lowest place runs off: the
    # node's own room is then as good. So it is where the lowest place lies beyond the neighbours,
    # for which the paraboloid says nothing.
    if xx <= 0.0 or yy <= 0.0 or det <= 1e-6 * xx * yy:
        return g
    dx, dy = -(gx * yy - gy * xy) / det, -(gy * xx - gx * xy) / det
    if abs(dx) > 1.0 or abs(dy) > 1.0:
        return g
    return g + 0.5 * (gx * dx + gy * dy)


@njit(cache=True)
def reachable(height: Floats, ball: float, reach: int, stride: int, lost: Mask) -> None:
    """Clears `lost` at the nodes where the ball that touches h there stays below h.

    `height` is (n, m), `lost` (n, m) holds the nodes to look at and is changed in place; `reach` is
    how far from its middle a ball can touch h and `stride` the distance of the places tried first,
    both whole steps.
    """
    rows, columns = height.shape
    for i in range(rows):
        for j in range(columns):
            if not lost[i, j]:
                continue
            # the rim has no central difference; what matters lies a ball's reach away from it
            if i < 1 or j < 1 or i > rows - 2 or j > columns - 2:
                lost[i, j] = False
                continue
            hx, hy = (
                0.5 * (height[i + 1, j] - height[i - 1, j]),
                0.5 * (height[i, j + 1] - height[i, j - 1]),
            )
            w = math.sqrt(1.0 + hx * hx + hy * hy)
            # the ball's middle lies its radius below the surface, along the normal (-hx, -hy, 1)/w
            cx, cy = i + ball * hx / w, j + ball * hy / w
            top = height[i, j] + ball - ball / w - _PIERCED
            lost[i, j] = _pierces(height, ball, cx, cy, top, reach, stride, i, j)


@njit(cache=True, inline="always")
def _pierces(
    height: Floats,
    ball: float,
    cx: float,
    cy: float,
    top: float,
    reach: int,
    stride: int,
    i: int,
    j: int,
) -> bool:
    """Does the cap of height `top` at (cx, cy) stand out of h anywhere? Near the contact (i, j)
    every node is tried."""
    for a in range(-2, 3):
        for b in range(-2, 3):
            if _room(height, ball, cx, cy, i + a, j + b) < top:
                return True
    mi, mj = round(cx), round(cy)
    # Trying every node of the cap would cost the square of its reach, so only every `stride`-th is
    # tried, and the search goes downhill from those that may have a lower one beside them. Between
    # coarse places the room sinks by no more than its curvature, about 1/ball, allows:
    # (stride / sqrt(2))^2 / (2 ball), a quarter of the slack.
    slack = stride * stride / ball if stride > 1 else 0.0
    for a in range(-reach, reach + 1, stride):
        for b in range(-reach, reach + 1, stride):
            if a * a + b * b > reach * reach:
                continue
            room = _room(height, ball, cx, cy, mi + a, mj + b)
            if room < top:
                return True
            # near the contact the way down ends in the contact itself, which is no second place
            if room < top + slack and (mi + a - i) ** 2 + (mj + b - j) ** 2 > 4 * stride * stride:
                bi, bj = _descend(height, ball, cx, cy, mi + a, mj + b)
                if _room(height, ball, cx, cy, bi, bj) < top:
                    return True
    return False


@njit(cache=True)
def _search(
    height: Floats, ball: float, cx: float, cy: float, reach: int, stride: int
) -> tuple[float, int, int]:
    """Least room of all for the cap at (cx, cy), and the node where it is least."""
    # the least of the coarse places, then downhill from there: a fixed number of places per cap
    mi, mj = round(cx), round(cy)
    best, bi, bj = _FAR, mi, mj
    for a in range(-reach, reach + 1, stride):
        for b in range(-reach, reach + 1, stride):
            if a * a + b * b > reach * reach:
                continue
            r = _room(height, ball, cx, cy, mi + a, mj + b)
            if r < best:
                best, bi, bj = r, mi + a, mj + b
    if stride > 1:
        bi, bj = _descend(height, ball, cx, cy, bi, bj)
    return _least(height, ball, cx, cy, bi, bj), bi, bj


@njit(cache=True)
def cap_heights(
    height: Floats, ball: float, reach: int, stride: int, near: Mask, caps: Floats, contact: Ints
) -> None:
    """Writes the cap heights T (n, m) into `caps` and their contacts (n, m, 2), as nodes, into
    `contact`, both at the nodes `near` (n, m) alone."""
    for i in range(height.shape[0]):
        for j in range(height.shape[1]):
            if near[i, j]:
                caps[i, j], contact[i, j, 0], contact[i, j, 1] = _search(
                    height, ball, float(i), float(j), reach, stride
                )


@njit(cache=True, inline="always")
def _on_edge(
    height: Floats,
    ball: float,
    reach: int,
    stride: int,
    caps: Floats,
    contact: Ints,
    i: int,
    j: int,
    a: int,
    b: int,
) -> tuple[bool, float, float, float]:
    """Where the crease of T crosses the edge from (i, j) to (i + a, j + b): found or not, x, y,
    T."""
    pi, pj = contact[i, j]
    qi, qj = contact[i + a, j + b]
    # contacts at the same or neighbouring nodes are one: the paraboloid of `_least` spans both
    if abs(pi - qi) <= 1 and abs(pj - qj) <= 1:
        return False, 0.0, 0.0, 0.0
    x1, y1 = float(i), float(j)
    x2, y2 = float(i + a), float(j + b)
    # Contacts far apart may still be one contact that slides along as the ball moves. So each is
    # carried to the other end and must stay apart from the contact there; only then does the ball
    # change flanks on this edge. Equal caps are a crease too.
    ri, rj = _descend(height, ball, x2, y2, pi, pj)
    if abs(ri - qi) <= 1 and abs(rj - qj) <= 1:
        return False, 0.0, 0.0, 0.0
    ri, rj = _descend(height, ball, x1, y1, qi, qj)
    if abs(ri - pi) <= 1 and abs(rj - pj) <= 1:
        return False, 0.0, 0.0, 0.0
    # Where both contacts allow the same height: halved 24 times, 6e-8 of a step. Interpolating
    # the cap heights of the two ends instead would print the lattice on the ridge.
    low, up = 0.0, 1.0
    x, y = x1, y1
    for _ in range(24):
        s = 0.5 * (low + up)
        x, y = x1 + s * a, y1 + s * b
        pi, pj = _descend(height, ball, x, y, pi, pj)
        qi, qj = _descend(height, ball, x, y, qi, qj)
        one, two = _least(height, ball, x, y, pi, pj), _least(height, ball, x, y, qi, qj)
        if one < two:
            low = s
        else:
            up = s
    # where three creases meet, a third contact may be the lowest
    return True, x, y, _search(height, ball, x, y, reach, stride)[0]


@njit(cache=True)
def crease_points(
    height: Floats,
    ball: float,
    reach: int,
    stride: int,
    near: Mask,
    caps: Floats,
    contact: Ints,
    points: Floats,
) -> None:
    """Where the creases of T cross the edges of the lattice: (x, y, T) into `points` (n, m, 4, 3),
    else untouched.

    The edges of a node lead to its neighbours along X, along Y, and along the diagonal of both; the
    fourth is the other diagonal of the same cell, from the neighbour along X to that along Y.
    """
    for i in range(height.shape[0] - 1):
        for j in range(height.shape[1] - 1):
            for edge in range(4):
                k = i + 1 if edge == 3 else i
                a = -1 if edge == 3 else 1 if edge != 1 else 0
                b = 1 if edge != 0 else 0
                if near[k, j] and near[k + a, j + b]:
                    hit, x, y, top = _on_edge(
                        height, ball, reach, stride, caps, contact, k, j, a, b
                    )
                    if hit:
                        points[i, j, edge, 0] = x
                        points[i, j, edge, 1] = y
                        points[i, j, edge, 2] = top


@njit(cache=True, inline="always")
def _sweep_top(ball: float, line: Floats, x: float, y: float) -> float:
    """Height at (x, y) of the ball swept along `line` (6,): its cap's top goes from (x1, y1, T1) to
    (x2, y2, T2).

    At the share s of the line the cap stands over the place at
    T1 + s rise - ball + sqrt(left - (s - along)^2 long). That is concave in s, and greatest where
    its derivative is zero; clamped to the line's ends it is the height of the sweep.
    """
    dx, dy, rise = line[3] - line[0], line[4] - line[1], line[5] - line[2]
    px, py = x - line[0], y - line[1]
    long = dx * dx + dy * dy
    s = 0.0
    # where a crease passes through a node its points on several edges coincide: one standing ball
    if long > 1e-18:
        along = (px * dx + py * dy) / long
        left = ball * ball - px * px - py * py + along * along * long
        if left <= 0.0:
            return -_FAR
        s = along + rise * math.sqrt(left) / math.sqrt(long * (long + rise * rise))
        s = min(max(s, 0.0), 1.0)
    qx, qy = px - s * dx, py - s * dy
    left = ball * ball - qx * qx - qy * qy
    if left <= 0.0:
        return -_FAR
    top: float = line[2] + s * rise - ball + math.sqrt(left)
    return top


@njit(cache=True, inline="always")
def _standing_top(height: Floats, ball: float, caps: Floats, i: int, j: int) -> float:
    """Highest cap over the node (i, j) of balls at nodes near the one that would touch h there."""
    rows, columns = height.shape
    hx, hy = (
        0.5 * (height[i + 1, j] - height[i - 1, j]),
        0.5 * (height[i, j + 1] - height[i, j - 1]),
    )
    w = math.sqrt(1.0 + hx * hx + hy * hy)
    mi, mj = round(i + ball * hx / w), round(j + ball * hy / w)
    best = -_FAR
    for a in range(max(mi - _WINDOW, 0), min(mi + _WINDOW + 1, rows)):
        for b in range(max(mj - _WINDOW, 0), min(mj + _WINDOW + 1, columns)):
            left = ball * ball - (a - i) ** 2 - (b - j) ** 2
            if left > 0.0 and caps[a, b] > -_FAR:
                best = max(best, caps[a, b] - ball + math.sqrt(left))
    return best


@njit(cache=True)
def swept(
    height: Floats,
    ball: float,
    reach: int,
    lost: Mask,
    caps: Floats,
    first: Ints,
    segments: Floats,
    opened: Floats,
) -> None:
    """The opening at the nodes `lost` into `opened`: the highest of the balls along the creases and
    at nodes.

    The balls at nodes stand in where a crease is too faint, or ends, for lines to be found.
    `segments` (k, 6) are the lines of the crease sorted by cell and `first` (n m + 1,) where each
    cell's begin; `caps` (n, m) is -inf where no cap was asked for; `opened` (n, m) is changed in
    place.
    """
    rows, columns = height.shape
    for i in range(1, rows - 1):
        for j in range(1, columns - 1):
            if not lost[i, j]:
                continue
            best = _standing_top(height, ball, caps, i, j)
            # a cell is named by its lower corner, so cells one node farther down and left touch
            for a in range(max(i - reach - 1, 0), min(i + reach + 1, rows)):
                # the cells of one row lie one after the other in `segments`
                begin = first[a * columns + max(j - reach - 1, 0)]
                end = first[a * columns + min(j + reach, columns - 1) + 1]
                for k in range(begin, end):
                    best = max(best, _sweep_top(ball, segments[k], float(i), float(j)))
            # an opening is nowhere above h, whatever rounding does
            opened[i, j] = min(height[i, j], best)
