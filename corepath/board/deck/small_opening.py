"""The morphological opening by a ball in numpy, for creases so few that loading numba takes longer.

The same searches in the same order as the compiled loops of `corepath.board.deck.ball_opening`,
many places at once; for the terms see there and `corepath.board.deck.crease`. All lengths are in
steps of the lattice. Every node under a ball is tried: that is what the compiled loops do too where
the `stride` is 1.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.crease_lines import segments_of
from corepath.geometry.masks import grown
from corepath.geometry.rasters import spans

__all__ = ["open_small"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
Pair = tuple[Ints, Ints]

_PIERCED = 1e-4  # as in the compiled loops, where it is explained; so are the next two
_WINDOW = 10
_DIAGONAL = ((1, 0), (0, 1), (1, 1), (-1, 1))
"""The edges of a node: the last leads from its neighbour along X."""
_PAIRS = 65_536  # pairs of a node and a line worked out at once
_TRIED = 16_384  # places and nodes tried at once: few enough for the cache of the processor
_AROUND = np.array(
    [(0, 0), *((a, b) for a in (-1, 0, 1) for b in (-1, 0, 1) if a or b)], dtype=np.int64
)
"""Steps from a node to itself and to those around it."""


class _Ground:
    """Heights with a wide rim that nothing touches, and a ball under them."""

    def __init__(self, height: Floats, ball: float, reach: int) -> None:
        self.rim = 2 * reach + 4
        padded = np.pad(height, self.rim, constant_values=np.inf)
        self.flat, self.width = padded.ravel(), padded.shape[1]
        self.ball, self.reach = ball, reach
        span = range(-reach, reach + 1)
        disc = [(a, b) for a in span for b in span if a * a + b * b <= reach * reach]
        self.disc = np.array(disc, dtype=np.int64)

    def room(self, x: Floats, y: Floats, i: Ints, j: Ints) -> Floats:
        """How high the tops of caps at (x, y) may stand before they touch the nodes (i, j)."""
        left = self.ball * self.ball - (i - x) ** 2 - (j - y) ** 2
        h = self.flat.take((i + self.rim) * self.width + (j + self.rim))
        up = h + self.ball - np.sqrt(np.maximum(left, 0.0))
        return np.where(left > 0.0, up, np.inf)

    def lowest(self, x: Floats, y: Floats, node: Pair, steps: Ints) -> tuple[Floats, Pair]:
        """Least room at the nodes `steps` (k, 2) away from `node`, and the first of these nodes
        where it is least; `node` itself where nothing is touched."""
        i, j = node
        room = self.room(x, y, i + steps[:, :1], j + steps[:, 1:])
        first = room.argmin(axis=0)
        least = room[first, np.arange(len(i))]
        chosen = np.where(np.isfinite(least)[:, None], steps[first], 0)
        return least, (i + chosen[:, 0], j + chosen[:, 1])

    def search(self, x: Floats, y: Floats) -> tuple[Floats, Pair]:
        """Least room of the caps at (x, y), and the nodes where it is least."""
        middle = np.rint(x).astype(np.int64), np.rint(y).astype(np.int64)
        best, (bi, bj) = np.full(len(x), np.inf), (middle[0].copy(), middle[1].copy())
        for steps in _parts(self.disc, len(x)):
            room, (i, j) = self.lowest(x, y, middle, steps)
            less = room < best
            best[less], bi[less], bj[less] = room[less], i[less], j[less]
        return self.least(x, y, (bi, bj)), (bi, bj)

    def descend(self, x: Floats, y: Floats, node: Pair) -> Pair:
        """The nodes of least room that are reached from `node` by going downhill."""
        i, j = node[0].copy(), node[1].copy()
        moving = np.arange(len(i))
        while len(moving):
            fi, fj = i[moving], j[moving]
            _, (bi, bj) = self.lowest(x[moving], y[moving], (fi, fj), _AROUND)
            i[moving], j[moving] = bi, bj
            moving = moving[(bi != fi) | (bj != fj)]
        return i, j

    def least(self, x: Floats, y: Floats, node: Pair) -> Floats:
        """Least room near the nodes, between them: that of the paraboloid through nine."""
        rooms = self.room(x, y, node[0] + _AROUND[:, :1], node[1] + _AROUND[:, 1:])
        g, sw, w, nw, s, n, se, e, ne = rooms
        whole = np.isfinite(e + w + n + s + ne + sw + nw + se)
        with np.errstate(invalid="ignore", divide="ignore"):
            gx, gy = 0.5 * (e - w), 0.5 * (n - s)
            xx, yy, xy = e + w - 2.0 * g, n + s - 2.0 * g, 0.25 * (ne + sw - nw - se)
            det = xx * yy - xy * xy
            dx, dy = -(gx * yy - gy * xy) / det, -(gy * xx - gx * xy) / det
            # Flat along one direction to a millionth: its lowest point lies nowhere in particular.
            bowl = (xx > 0.0) & (yy > 0.0) & (det > 1e-6 * xx * yy)
            within = (np.abs(dx) <= 1.0) & (np.abs(dy) <= 1.0)
            return np.asarray(np.where(whole & bowl & within, g + 0.5 * (gx * dx + gy * dy), g))


def open_small(height: Floats, ball: float, reach: int, lost: Mask) -> Floats:
    """Returns the opening of `height` (n, m) at the nodes `lost` (n, m) that no ball reaches."""
    ground, opened = _Ground(height, ball, reach), height.copy()
    lost = _unreached(ground, height, lost)
    if not lost.any():
        return opened
    near = grown(lost, reach + 1.0)
    i, j = np.nonzero(near)
    caps = np.full(height.shape, -np.inf)
    contact = np.full((*height.shape, 2), -1, dtype=np.int64)
    caps[i, j], (contact[i, j, 0], contact[i, j, 1]) = ground.search(
        i.astype(np.float64), j.astype(np.float64)
    )
    first, segments = segments_of(_crease_points(ground, near, contact))
    i, j = np.nonzero(lost)
    best, x, y = _standing(height, ball, caps, i, j), i.astype(np.float64), j.astype(np.float64)
    for node, line in _beside(first, lost.shape, reach, i, j):
        np.maximum.at(best, node, _sweep_top(ball, segments[line], x[node], y[node]))
    # an opening is nowhere above h, whatever rounding does
    opened[i, j] = np.minimum(height[i, j], best)
    return opened


def _contact_of(height: Floats, ball: float, i: Ints, j: Ints) -> tuple[Floats, Floats, Floats]:
    """Middle of the ball that touches h at each node, and the share of its radius by which the top
    of the cap stands over the contact's level."""
    hx, hy = (
        0.5 * (height[i + 1, j] - height[i - 1, j]),
        0.5 * (height[i, j + 1] - height[i, j - 1]),
    )
    w = np.sqrt(1.0 + hx * hx + hy * hy)
    return i + ball * hx / w, j + ball * hy / w, w


def _unreached(ground: _Ground, height: Floats, lost: Mask) -> Mask:
    """The nodes of `lost` whose ball stands out of h somewhere."""
    # the rim has no central difference; what matters lies a ball's reach away from it
    lost = np.pad(lost[1:-1, 1:-1], 1)
    i, j = np.nonzero(lost)
    x, y, w = _contact_of(height, ground.ball, i, j)
    top = height[i, j] + ground.ball - ground.ball / w - _PIERCED
    mi, mj = np.rint(x).astype(np.int64), np.rint(y).astype(np.int64)
    pierced = np.zeros(len(i), dtype=np.bool_)
    for p, q, steps in ((i, j, _steps(2)), (mi, mj, ground.disc)):
        for part in _parts(steps, len(i)):
            pierced |= (ground.room(x, y, p + part[:, :1], q + part[:, 1:]) < top).any(axis=0)
    lost[i, j] = pierced
    return lost


def _crease_points(ground: _Ground, near: Mask, contact: Ints) -> Floats:
    """Where the creases of T cross the edges of the lattice: (x, y, T) in (n, m, 4, 3), else
    NaN."""
    points = np.full((*near.shape, 4, 3), np.nan)
    rows, columns = near.shape
    i, j = (part.ravel() for part in np.mgrid[: rows - 1, : columns - 1])
    for edge, (a, b) in enumerate(_DIAGONAL):
        k = i + 1 if edge == 3 else i
        both = near[k, j] & near[k + a, j + b]
        i1, j1, home = k[both], j[both], i[both]
        p, q = contact[i1, j1].T, contact[i1 + a, j1 + b].T
        ends = (i1 * 1.0, j1 * 1.0), (i1 + a * 1.0, j1 + b * 1.0)
        # Contacts far apart may still be one that slides along: each is carried to the other end
        # and must stay apart from the contact there.
        apart = _apart(p, q)
        for here, there, end in ((p, q, ends[1]), (q, p, ends[0])):
            some = np.flatnonzero(apart)
            carried = ground.descend(end[0][some], end[1][some], (here[0][some], here[1][some]))
            apart[some] = _apart(carried, (there[0][some], there[1][some]))
        hit = np.flatnonzero(apart)
        x, y = _halved(
            ground, (i1[hit], j1[hit]), (a, b), (p[0][hit], p[1][hit]), (q[0][hit], q[1][hit])
        )
        # where three creases meet, a third contact may be the lowest
        found = np.column_stack([x, y, ground.search(x, y)[0]])
        points[home[hit], j1[hit], edge] = found
    return points


def _apart(one: Pair, two: Pair) -> Mask:
    # contacts at the same or neighbouring nodes are one: the paraboloid spans both
    return np.asarray((np.abs(one[0] - two[0]) > 1) | (np.abs(one[1] - two[1]) > 1))


def _halved(
    ground: _Ground, start: Pair, way: tuple[int, int], p: Pair, q: Pair
) -> tuple[Floats, Floats]:
    """Where on the edges both contacts allow the same height, halved 24 times."""
    low, up = np.zeros(len(start[0])), np.ones(len(start[0]))
    x, y = start[0].astype(np.float64), start[1].astype(np.float64)
    for _ in range(24):
        s = 0.5 * (low + up)
        x, y = start[0] + s * way[0], start[1] + s * way[1]
        p, q = ground.descend(x, y, p), ground.descend(x, y, q)
        less = ground.least(x, y, p) < ground.least(x, y, q)
        low, up = np.where(less, s, low), np.where(less, up, s)
    return x, y


def _standing(height: Floats, ball: float, caps: Floats, i: Ints, j: Ints) -> Floats:
    """Highest cap over the nodes of balls at nodes near the one that would touch h there."""
    rim = _WINDOW + 1
    padded = np.pad(caps, rim, constant_values=-np.inf)
    x, y, _ = _contact_of(height, ball, i, j)
    # a middle off the lattice has no balls about it
    mi = np.clip(np.rint(x).astype(np.int64), -rim, caps.shape[0] + rim)
    mj = np.clip(np.rint(y).astype(np.int64), -rim, caps.shape[1] + rim)
    best = np.full(len(i), -np.inf)
    for steps in _parts(_steps(_WINDOW), len(i)):
        u, v = mi + steps[:, :1], mj + steps[:, 1:]
        on = (u >= 0) & (v >= 0) & (u < caps.shape[0]) & (v < caps.shape[1])
        left = ball * ball - (u - i) ** 2 - (v - j) ** 2
        cap = padded[np.where(on, u + rim, 0), np.where(on, v + rim, 0)]
        top = np.where(left > 0.0, cap - ball + np.sqrt(np.maximum(left, 0.0)), -np.inf)
        best = np.maximum(best, top.max(axis=0))
    return best


def _steps(far: int) -> Ints:
    """All steps of up to `far` nodes along both axes, (k, 2)."""
    span = range(-far, far + 1)
    return np.array([(a, b) for a in span for b in span], dtype=np.int64)


def _parts(steps: Ints, places: int) -> Iterator[Ints]:
    """`steps` in parts that make no more than about `_TRIED` pairs with so many places."""
    most = max(1, _TRIED // max(places, 1))
    for k in range(0, len(steps), most):
        yield steps[k : k + most]


def _beside(
    first: Ints, shape: tuple[int, ...], reach: int, i: Ints, j: Ints
) -> Iterator[tuple[Ints, Ints]]:
    """Pairs of a node (its number) and a line of the crease whose cell lies within the ball's
    reach, chunk by chunk."""
    rows, columns = shape
    row, node = spans(np.maximum(i - reach - 1, 0), np.minimum(i + reach + 1, rows))
    begin = first[row * columns + np.maximum(j[node] - reach - 1, 0)]
    end = first[row * columns + np.minimum(j[node] + reach, columns - 1) + 1]
    line, part = spans(begin, end)
    for k in range(0, len(line), _PAIRS):
        yield node[part[k : k + _PAIRS]], line[k : k + _PAIRS]


def _sweep_top(ball: float, line: Floats, x: Floats, y: Floats) -> Floats:
    """Heights at (x, y) of balls swept along lines (n, 6)."""
    dx, dy, rise = (line[:, k + 3] - line[:, k] for k in range(3))
    px, py = x - line[:, 0], y - line[:, 1]
    long = dx * dx + dy * dy
    # mm²: shorter than 1e-9 mm it is a point, and dividing by it would give NaN.
    some = long > 1e-18
    safe = np.where(some, long, 1.0)
    along = (px * dx + py * dy) / safe
    left = ball * ball - px * px - py * py + along * along * safe
    share = along + rise * np.sqrt(np.maximum(left, 0.0)) / np.sqrt(safe * (safe + rise * rise))
    s = np.where(some, np.clip(share, 0.0, 1.0), 0.0)
    qx, qy = px - s * dx, py - s * dy
    under = ball * ball - qx * qx - qy * qy
    top = line[:, 2] + s * rise - ball + np.sqrt(np.maximum(under, 0.0))
    return np.where((under > 0.0) & (~some | (left > 0.0)), top, -np.inf)
