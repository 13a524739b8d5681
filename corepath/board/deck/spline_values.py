"""The height field h(x, y) by numpy alone: its coefficients from heights at the nodes, its values,
slopes and second derivatives at many places.

A verdict asks for few places, and numba takes three times as long to load as numpy; paths, which
ask for millions, have the same arithmetic compiled in `corepath.board.deck.spline_kernels`, equal
to the last bit. For *coefficients* and *frame* see there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.spline_weights import bend, slope, value

__all__ = ["coefficients_of", "heights", "on_lattice", "shapes"]

Floats = NDArray[np.float64]
Four = tuple[Floats, Floats, Floats, Floats]
Chunk = tuple[NDArray[np.intp], list[list[Floats]], Floats, Floats]

_POLE = math.sqrt(3.0) - 2.0
_TERMS = 64
"""Terms of the sum with which the recursion begins: _POLE to that power is below 1e-36."""
_LINES = 32  # lines of a lattice worked out at once, for the reason that `_CHUNK` has
_CHUNK = 8192  # places worked out at once: what belongs to them stays in the processor's cache


def coefficients_of(grid: Floats) -> Floats:
    """Returns the coefficients (n + 4, m + 4) of the spline through `grid` (n, m), mirrored at its
    ends."""
    along = _filtered(grid)
    both = _filtered(np.ascontiguousarray(along.T)).T
    # filtered first, then padded by the same mirror, so that the spline passes through every node
    # up to the last row
    return np.pad(both, 2, mode="reflect")


def _filtered(values: Floats) -> Floats:
    """Coefficients along axis 0, by the recursive filter of Unser (IEEE Signal Processing Magazine
    16, 1999): once forwards, once back."""
    last, z = len(values) - 1, _POLE
    c = values * ((1.0 - z) * (1.0 - 1.0 / z))
    mirrored, power = z**last, z
    begin = c[0] + mirrored * c[last]
    for i in range(1, min(last, _TERMS)):
        begin = begin + power * (c[i] + mirrored * c[last - i])
        power *= z
    c[0] = begin / (1.0 - mirrored * mirrored)
    for i in range(1, last + 1):
        c[i] += z * c[i - 1]
    c[last] = (z * c[last - 1] + c[last]) * z / (z * z - 1.0)
    for i in range(last - 1, -1, -1):
        c[i] = z * (c[i + 1] - c[i])
    return np.asarray(c)


def heights(c: Floats, frame: Floats, x: Floats, y: Floats) -> Floats:
    """Returns the heights (n,), mm, at the places `x`, `y` (n,), mm."""
    out = np.full(x.size, frame[3])
    for part, cells, s, t in _cells(c, frame, x, y):
        out[part] = _dot(value(t), _along(cells, value(s)))
    return out


def shapes(c: Floats, frame: Floats, x: Floats, y: Floats) -> Floats:
    """Returns h, hx, hy, hxx, hxy and hyy (6, n) at the places `x`, `y` (n,), mm."""
    out = np.zeros((6, x.size))
    out[0] = frame[3]
    w = 1.0 / frame[2]
    for part, cells, s, t in _cells(c, frame, x, y):
        rows, tilts = _along(cells, value(s)), _along(cells, slope(s))
        out[0, part], out[1, part] = _dot(value(t), rows), _dot(value(t), tilts) * w
        out[2, part] = _dot(slope(t), rows) * w
        out[3, part] = _dot(value(t), _along(cells, bend(s))) * w * w
        out[4, part] = _dot(slope(t), tilts) * w * w
        out[5, part] = _dot(bend(t), rows) * w * w
    return out


def on_lattice(c: Floats, frame: Floats, xs: Floats, ys: Floats, along: int, across: int) -> Floats:
    """Returns the derivative of order `along` by x and `across` by y (0 to 2) at the places `xs`
    (n,) by `ys` (m,), mm: (n, m)."""
    i, s, on_x = _cell(xs, frame[0], frame[2], c.shape[0])
    j, t, on_y = _cell(ys, frame[1], frame[2], c.shape[1])
    a, b = _WEIGHTS[along](s[:, None]), _WEIGHTS[across](t)
    found = np.empty((len(xs), len(ys)))
    columns = [_run(j + k) for k in range(4)]
    for first in range(0, len(xs), _LINES):
        part = slice(first, first + _LINES)
        cells = [c[_run(i[part] + k)] for k in range(4)]
        rows = _weighted([one[part] for one in a], cells)
        _weighted(b, [rows[:, run] for run in columns], found[part])
    for _ in range(along + across):
        if frame[2] != 1.0:
            found *= 1.0 / frame[2]
    beyond = frame[3] if along == across == 0 else 0.0
    if not (on_x.all() and on_y.all()):
        found = np.where(on_x[:, None] & on_y, found, beyond)
    return np.asarray(found)


def _weighted(weights: Sequence[Floats], four: list[Floats], out: Floats | None = None) -> Floats:
    """The sum of four times their weights, from the first on, in `out` if given."""
    total = np.multiply(weights[0], four[0], out=out)
    part = np.empty_like(total)
    for weight, one in zip(weights[1:], four[1:], strict=True):
        total += np.multiply(weight, one, out=part)
    return total


def _run(cells: NDArray[np.int64]) -> NDArray[np.int64] | slice:
    """`cells` as a slice where each follows the one before it: it is read without a copy."""
    if len(cells) and (np.diff(cells) == 1).all():
        return slice(int(cells[0]), int(cells[0]) + len(cells))
    return cells


_WEIGHTS = (value, slope, bend)


def _cell(
    places: Floats, first: float, step: float, size: int
) -> tuple[NDArray[np.int64], Floats, NDArray[np.bool_]]:
    """First of the four coefficients along an axis of `size` and the place in the cell; whether it
    lies on the nodes."""
    u = (places - first) / step
    # written so that NaN counts as off the nodes too
    on = (u >= 0.0) & (u <= size - 5.0)
    u = np.where(on, u, 0.0)
    # the last node belongs to the cell before it
    cell = np.minimum(u.astype(np.int64), size - 6)
    return cell + 1, u - cell, on


def _cells(c: Floats, frame: Floats, x: Floats, y: Floats) -> Iterator[Chunk]:
    """Chunk by chunk of the places on the nodes: their indices, the 16 coefficients of each
    (4 along X, 4 along Y, n), and the places in the cell along X and Y."""
    columns, rows = c.shape
    flat = c.ravel()
    for first in range(0, x.size, _CHUNK):
        i, s, on_x = _cell(x[first : first + _CHUNK], frame[0], frame[2], columns)
        j, t, on_y = _cell(y[first : first + _CHUNK], frame[1], frame[2], rows)
        part = np.flatnonzero(on_x & on_y)
        corner = i[part] * rows + j[part]
        cells = [[flat.take(corner + (a * rows + b)) for b in range(4)] for a in range(4)]
        yield part + first, cells, s[part], t[part]


def _along(cells: list[list[Floats]], a: Four) -> Four:
    """The four rows of each cell, weighted by `a` along X."""
    one, two, three, four = cells
    return tuple(  # type: ignore[return-value]
        a[0] * one[b] + a[1] * two[b] + a[2] * three[b] + a[3] * four[b] for b in range(4)
    )


def _dot(b: Four, rows: Four) -> Floats:
    return b[0] * rows[0] + b[1] * rows[1] + b[2] * rows[2] + b[3] * rows[3]
