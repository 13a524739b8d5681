"""Rounding of the deck's creases: the morphological opening of the wood below h by a ball.

Where the board is narrow, at outward corners and at tight tips, the distance inside the outline has
a ridge, and so has h. The *opening* is what balls of the least radius, kept wholly below h, can
reach: nowhere above h, h itself where the ball fits at the surface, never under the edge thickness,
since balls fit under a level plane.

The lattice alone would print itself on the ridge, so the opening is taken in parts. The *cap
height* T(c) is the height to which a ball standing at c can be raised; each c has a *contact*,
where its ball then touches h. Beneath a ridge T has a crease as well: on either side the ball
touches another flank. A place of h is *reachable* if the ball that touches it there stays below h;
it keeps its height. Over a place that is not reachable the highest ball stands on the crease of T.
The points of that crease are found on the edges of the lattice's triangles, by continuing the
contact of either end, and joined to short lines along which the ball is swept. Each cell makes four
triangles, two by either diagonal, so that a mirrored deck is the mirror image.
"""

from __future__ import annotations

import math
import sys

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.crease_lines import segments_of
from corepath.board.deck.small_opening import open_small
from corepath.geometry.masks import areas, grown

__all__ = ["round_creases"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# a search across the ball's cap looks at no more than this many places to either side of its
# middle, so that the time for a cap does not grow with the square of the ball's reach
_CELLS = 24
# nodes times squared reach: up to here numpy is quicker than loading numba; where that is loaded
# already, its loops are some ten times as quick, and the same to the last bit
_FEW = 8_000_000
_SHARE = 0.9  # of the ball's curvature: anything less curved is left alone


def round_creases(edge: float, xs: Floats, raw: Floats, radius: float) -> Floats:
    """Returns `raw` (n, m) opened by a ball of `radius`; all lengths mm.

    `xs` (n,) are the nodes along X, whose distance holds along Y too; `edge` is the lowest level,
    which the result never passes. Where the ball fits everywhere, `raw` itself comes back.
    """
    step = float(xs[1] - xs[0])
    # the kernels work in units of the step, heights too, so that a ball is a ball
    height, ball = raw / step, radius / step
    sharp = _sharp(height, _SHARE / ball)
    if not sharp.any():
        return raw
    # A ball stopped by a sharp place stands within its reach of it, and it may be the highest over
    # nodes within its reach again. Zones that do not meet cannot change each other, so each is
    # opened in a box of its own.
    reach = _reach(height, ball)
    numbers, boxes = areas(grown(sharp, 2.0 * reach + 1.0))
    few = reach <= _CELLS and (
        "numba" not in sys.modules and np.count_nonzero(numbers) * reach * reach <= _FEW
    )
    opened = height.copy()
    for number, (i, j) in enumerate(boxes, 1):
        # as far round the area as a ball at a ball's reach can touch
        box = (_wider(i, 2 * reach + 4, height.shape[0]), _wider(j, 2 * reach + 4, height.shape[1]))
        # Places at the edge thickness keep it, since balls fit under a level plane. 1e-9 steps is
        # above the rounding of edge / step and far below what anything shows.
        lost = (numbers[box] == number) & (height[box] > edge / step + 1e-9)
        here = np.ascontiguousarray(height[box])
        found = (
            open_small(here, ball, reach, lost) if few else _open(here, ball, reach, lost.copy())
        )
        opened[box] = np.where(lost, found, opened[box])
    return np.clip(opened * step, edge, raw)


def _wider(part: slice, by: int, most: int) -> slice:
    return slice(max(part.start - by, 0), min(part.stop + by, most))


def _open(height: Floats, ball: float, reach: int, lost: Mask) -> Floats:
    """The opening of `height` at the nodes `lost`, which shrinks to those that are not
    reachable."""
    from corepath.board.deck.ball_opening import cap_heights, crease_points, reachable, swept

    stride = max(1, math.ceil(reach / _CELLS))
    opened = height.copy()
    reachable(height, ball, reach, stride, lost)
    if lost.any():
        # only balls within their reach of a lost node can be the highest over it
        near = grown(lost, reach + 1.0)
        caps = np.full(height.shape, -np.inf)
        contact = np.full((*height.shape, 2), -1, dtype=np.int64)
        cap_heights(height, ball, reach, stride, near, caps, contact)
        points = np.full((*height.shape, 4, 3), np.nan)
        crease_points(height, ball, reach, stride, near, caps, contact, points)
        first, segments = segments_of(points)
        swept(height, ball, reach, lost, caps, first, segments, opened)
    return opened


def _sharp(height: Floats, most: float) -> Mask:
    """Nodes where h bends down by more than `most` along X, Y or a diagonal."""
    sharp = np.zeros(height.shape, dtype=np.bool_)
    middle = height[1:-1, 1:-1]
    for a, b in ((1, 0), (0, 1), (1, 1), (1, -1)):
        one = height[1 + a : height.shape[0] - 1 + a, 1 + b : height.shape[1] - 1 + b]
        two = height[1 - a : height.shape[0] - 1 - a, 1 - b : height.shape[1] - 1 - b]
        sharp[1:-1, 1:-1] |= (one + two - 2.0 * middle) < -most * (a * a + b * b)
    return sharp


def _reach(height: Floats, ball: float) -> int:
    """How far from its middle a ball can touch h: where its cap is as steep as h is anywhere, in
    steps."""
    # a cap is as steep as `slope` at ball * slope / sqrt(1 + slope^2) from its middle; two nodes
    # more for slopes between the nodes and for rounding the middle to a node
    slope = float(np.hypot(np.diff(height, axis=0)[:, :-1], np.diff(height, axis=1)[:-1, :]).max())
    return math.ceil(ball * slope / math.hypot(1.0, slope)) + 2
