"""The pressure that a plate needs to follow the deck, averaged over a stated length.

A plate of stiffness D that lies on z = h(x, y) carries the load D ∇⁴h, upwards positive. The core
can push it up, never pull it down: where ∇⁴h is negative it must be pressed down by `need` = -D
∇⁴h, or it bridges.

∇⁴h is rough, and infinite along a crease, so its mean over a length L is taken, with weights that
fall off smoothly: cubic B-splines in X and Y of width 2 L, which spread as a plain mean over a
square of side L does (the same second moment L²/12). The mean needs no derivative of h at all. With
b = L/2 and a cubic B-spline B of knot distance b (Peano's kernel of the difference, de Boor, A
Practical Guide to Splines, ch. IX):

    ∫ B(u) h''''(x + u) du = (h(x-2b) - 4 h(x-b) + 6 h(x) - 4 h(x+b) + h(x+2b)) / b⁴
    ∫ B(u) h''(x + u) du   = (H(x-b) - 2 H(x) + H(x+b)) / b²,
                             H the mean of h by a hat of half-width b

Only heights enter, so nothing is lost or made by the grid but the small error of the sums for H and
for the mean across. A load on a line of P N/mm reads as P · 4/(3 L) at the line, twice that over
half the length, so that P = 3/4 L (need over L/2 - need over L) there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.geometry.correlation import correlated
from corepath.skin.terms import BAR, Laminate, PlacedFigure, SkinCover, largest

__all__ = ["LineLoad", "Pressure", "bending_pressure"]

Floats = NDArray[np.float64]

_PARTS = 4  # nodes to each half length, even, so that half of them are nodes of half the length too
# `LineLoad.ratio` is 1 for a load spread out, 2 on a line, 4 beside a moment on a line: limits
# midway between 1 and 2, and near the middle of 2 and 4 in ratio
_LINE_LIKE = 1.5
_MOMENT_LIKE = 2.6
_LEAST = 1e-3  # bar; a need below it is nothing, and no line


@dataclass(frozen=True, slots=True)
class LineLoad:
    """A need that reads higher over half the length: `load` N/mm with its place, `ratio` of the two
    needs: 1 for a load spread out, 2 for a load on a line, 4 beside a line across which the
    curvature jumps, which is a moment and no load."""

    load: PlacedFigure
    ratio: float

    @property
    def is_moment(self) -> bool:
        return self.ratio > _MOMENT_LIKE


@dataclass(frozen=True, slots=True)
class Pressure:
    """`need` (n, m) in bar on `xs` by `ys`, positive where the skin must be pressed down, 0 off the
    skin; `length` is what it is averaged over, mm; `line` the largest load on a line that presses
    down, None where there is none."""

    xs: Floats
    ys: Floats
    need: Floats
    length: float
    most: PlacedFigure
    line: LineLoad | None

    @property
    def line_load(self) -> PlacedFigure | None:
        """The load of `line`, N/mm; None where it is a moment."""
        return None if self.line is None or self.line.is_moment else self.line.load


def bending_pressure(
    deck: DeckSurface, cover: SkinCover, skin: Laminate, parts: int = _PARTS
) -> Pressure:
    """Returns the pressure that `skin` needs to follow `deck` over `cover`; `parts` nodes to each
    half length (even)."""
    b = skin.average / 2.0
    xs, ys = _lattice(cover, b / parts)
    inside = cover.holds(xs, ys)
    per_bar = -skin.stiffness / BAR
    need = per_bar * _mean_bilaplacian(deck, xs, ys, b, parts) * inside
    half = per_bar * _mean_bilaplacian(deck, xs, ys, b / 2.0, parts // 2) * inside
    return Pressure(
        xs, ys, need, skin.average, largest(need, xs, ys), _line(need, half, xs, ys, skin.average)
    )


def _line(need: Floats, half: Floats, xs: Floats, ys: Floats, length: float) -> LineLoad | None:
    like_a_line = (half > _LINE_LIKE * need) & (half > _LEAST)
    load = np.where(like_a_line, 0.75 * length * BAR * (half - need), 0.0)
    most = largest(load, xs, ys)
    if most.value <= 0.0:
        return None
    i, j = int(np.argmin(np.abs(xs - most.x))), int(np.argmin(np.abs(ys - most.y)))
    return LineLoad(most, min(float(half[i, j] / max(need[i, j], 0.25 * half[i, j])), 4.0))


def _lattice(cover: SkinCover, step: float) -> tuple[Floats, Floats]:
    """Nodes exactly `step` apart, symmetric, over all of the cover."""
    # 1e-9: a half of just n steps stays n, whatever the division's rounding.
    counts = (math.floor(half / step + 1e-9) for half in (cover.half_x, cover.half_y))
    first, second = (np.arange(-count, count + 1) * step for count in counts)
    return np.asarray(first), np.asarray(second)


def _mean_bilaplacian(deck: DeckSurface, xs: Floats, ys: Floats, b: float, parts: int) -> Floats:
    """Returns the mean of ∇⁴h (n, m), 1/mm³, at the nodes `xs` (n,) by `ys` (m,), which lie
    `b` / `parts` mm apart, with the weights that the module describes."""
    step, m = b / parts, parts
    wide_x, wide_y = (_wider(nodes, 2 * m, step) for nodes in (xs, ys))
    h = deck.on_lattice(wide_x, wide_y)
    # a level added to h changes nothing but the size of the rounding
    h = h - h[0, 0]
    spread, hat = _spline(m), np.clip(1.0 - np.abs(np.arange(-m, m + 1)) / m, 0.0, None) / m
    second, fourth = _differences(m, (1.0, -2.0, 1.0)), _differences(m, (1.0, -4.0, 6.0, -4.0, 1.0))
    # h_xxxx averaged across by the spline, h_yyyy likewise, and 2 h_xxyy: the second difference of
    # hat means along both axes
    mixed = np.convolve(hat, second)
    total = _along(_along(h, fourth, 0), spread, 1) + _along(_along(h, fourth, 1), spread, 0)
    total += 2.0 * _along(_along(h, mixed, 0), mixed, 1)
    # the ends, to which the weights do not reach, are those that were added above
    inner = (slice(2 * m, -2 * m), slice(2 * m, -2 * m))
    return np.asarray(total[inner] / b**4)


def _wider(nodes: Floats, by: int, step: float) -> Floats:
    before = nodes[0] - step * np.arange(by, 0, -1)
    return np.concatenate([before, nodes, nodes[-1] + step * np.arange(1, by + 1)])


def _spline(m: int) -> Floats:
    u = np.abs(np.arange(-2 * m, 2 * m + 1) / m)
    values = np.where(
        u < 1.0, 2.0 / 3.0 - u**2 + u**3 / 2.0, np.clip(2.0 - u, 0.0, None) ** 3 / 6.0
    )
    return np.asarray(values / m)


def _differences(m: int, weights: tuple[float, ...]) -> Floats:
    out = np.zeros((len(weights) - 1) * m + 1)
    out[::m] = weights
    return out


def _along(values: Floats, weights: Floats, axis: int) -> Floats:
    return correlated(values, weights, axis, "edge")
