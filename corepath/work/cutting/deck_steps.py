"""How far apart lines over a deck may lie for one cutter: from the section that it sweeps across
its path.

Bed frame of C, mm. A cutter is a level disc of radius `flat` with a corner of radius `corner` (a
ball has flat 0, a flat cutter corner 0). With gradient (hx, hy) and slope g = |(hx, hy)|, the
section that a cutter moving along X sweeps across its path has at its contact the radius rho =
flat·hx²/g³ + corner: a tilted disc sweeps an ellipse, and the rounded corner adds its own radius.
(For ridges c high the ellipse is flatter than its vertex by 1 − c/(2·g·flat), and never wider than
the flat.) Lines whose axes lie s apart then leave ridges s²/(8·rho·(1 + bend·rho)) high, with the
bend of the ground across the path positive where it is convex; where 1 + bend·rho ≤ 0 the cutter
cannot touch at all. That section ends at the rim: where the ridge would lie beyond it, with an
allowed height c where |hy| + c/flat > g, a disc leaves terraces of at most s·|hy| instead.
(Elementary geometry; s²/(8r) is the handbook formula for a ball on level ground, from memory.)

A place with gradient g is finished by the cutter whose *axis* stands at place − flat·g/|g| −
corner·g/√(1 + g²), so steps are also kept by the place of the axis. *Across* means lines along Y
instead: across the grain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.deck.surface import DeckSurface
from corepath.geometry.masks import grown
from corepath.geometry.rasters import edges_of, inside
from corepath.motion.cutter import Cutter
from corepath.motion.cutter_profile import contact_reach
from corepath.motion.feeds.chips import scallop_step

__all__ = [
    "StepTable",
    "allowed_steps",
    "least_by_axis",
    "level_step",
    "needed_bins",
    "slopes_over",
    "steps_along",
    "steps_by_axis",
    "surface_minutes",
]

Array = NDArray[np.float64]
Bounds = tuple[float, float, float, float]

# mm; bins of a table of steps, as fine as the nodes of the deck.
_BIN = 1.0
_LEVEL = 1e-6
"""Slope below which ground is level but for rounding: it is finished from straight above."""
# Of 1 + bend·rho: near 0 the ground is about as hollow as the cutter is round. It touches all of it
# at once there, and a step from this formula would mean nothing.
_LEAST_ROOM = 0.1
_CHUNK = 16_384  # nodes worked out at once: what belongs to them stays in the processor's cache


@dataclass(frozen=True, slots=True)
class StepTable:
    """Least allowed step (mm) by the place of the axis, in square bins of `size` mm from (`left`,
    `low`).

    `table` is (columns along X, rows along Y), whichever way the lines run. `needed` (of the same
    shape) tells where lines are needed at all; None where they are everywhere.
    """

    table: Array
    left: float
    low: float
    size: float
    across: bool
    needed: NDArray[np.bool_] | None = None


def level_step(cutter: Cutter, scallop: float, stepover: float) -> float:
    """Largest step (mm) on level ground: by the scallop of the rounded corner, and by the stepover
    asked for."""
    return min(stepover, scallop_step(cutter, scallop)) or stepover


def allowed_steps(
    grid: Array, spacing: float, cutter: Cutter, scallop: float, ways: Array | None = None
) -> Array:
    """Largest step (mm) at each node of `grid` (n, m) as the place of contact, for lines along axis
    0, or along the unit vectors `ways` (n, m, 2) if given.

    `spacing` is that of the nodes, `scallop` the highest ridge allowed, both mm.
    """
    hx, hy = np.gradient(grid, spacing)
    bend = -np.gradient(hy, spacing, axis=1)
    if ways is not None:
        hxx, hxy = np.gradient(hx, spacing)
        x, y = ways[..., 0], ways[..., 1]
        bend = -(hxx * y**2 - 2.0 * hxy * x * y) + bend * x**2
        hx, hy = hx * x + hy * y, hy * x - hx * y
    slope2 = hx**2 + hy**2
    corner, flat = cutter.corner_radius, cutter.flat_radius
    # Level ground has no direction of slope: a floor in place of a division by 0; the cap by the
    # flat below decides there.
    slope = np.maximum(np.sqrt(slope2), 1e-6)
    radius = corner + np.zeros_like(slope)
    if flat > 0.0:
        ellipse = flat * hx**2 / slope**3 * np.maximum(1.0 - 0.5 * scallop / (slope * flat), 0.5)
        radius += np.minimum(ellipse, 0.5 * flat**2 / scallop)
    # Ground of radius R under a section of radius rho: contacts t apart leave t²/8·(1/rho + 1/R),
    # and the axes lie (1 + rho/R) times as far apart as the contacts. Together s² = 8·c·rho·(1 +
    # rho/R).
    room = 1.0 + bend * radius
    rounded = np.where(
        room > _LEAST_ROOM, np.sqrt(8.0 * scallop * radius * np.maximum(room, 0.0)), math.inf
    )
    across = np.abs(hy)
    # Where the ridge would lie beyond the rim of the disc, that leaves terraces of step·|hy|
    # instead.
    on_rim = across + scallop / max(flat, 1e-9) > slope
    terraced = np.where(on_rim, scallop / np.maximum(across, 1e-12), 0.0)
    # Off level ground the corner's share of the ridge is added to that of the disc.
    if corner > 0.0:
        tilted = slope2 > (0.05 * scallop / max(flat, 1e-9)) ** 2
        terraced = np.where(tilted, np.minimum(terraced, 2.0 * flat), terraced)
    # cos^1.5 of the tilt: a ridge c high vertically is c·cos high square to the ground (a root of
    # it in the step), and a step along the ground is shorter by cos seen from above.
    result: Array = np.maximum(rounded, terraced) * (1.0 + slope2) ** -0.75
    return result


def steps_by_axis(
    surface: DeckSurface,
    cutter: Cutter,
    scallop: float,
    widest: float,
    bounds: Bounds,
    *,
    across: bool,
) -> StepTable:
    """The least step allowed in each bin over `bounds` (left, low, right, high), at most `widest`
    mm.

    Each bin holds the least of its own and its eight neighbours', so that a contact on the edge of
    a bin counts in both.
    """
    grid = surface.grid
    steps = allowed_steps(grid.T if across else grid, surface.step, cutter, scallop)
    return _by_axis(surface, cutter, steps.T if across else steps, widest, bounds, across)


def steps_along(
    surface: DeckSurface,
    cutter: Cutter,
    scallop: float,
    widest: float,
    bounds: Bounds,
    ways: Array,
) -> StepTable:
    """The same for lines along the unit vectors `ways` (n, m, 2) at the nodes of the surface."""
    steps = allowed_steps(surface.grid, surface.step, cutter, scallop, ways)
    return _by_axis(surface, cutter, steps, widest, bounds, False)


def _by_axis(
    surface: DeckSurface, cutter: Cutter, steps: Array, widest: float, bounds: Bounds, across: bool
) -> StepTable:
    table = least_by_axis(surface, cutter, steps, widest, bounds, (_BIN, _BIN))
    for axis in (0, 1):
        wider = np.pad(table, [(1, 1) if k == axis else (0, 0) for k in (0, 1)], mode="edge")
        before, after = (
            np.take(wider, range(table.shape[axis]), axis),
            np.take(wider, range(2, table.shape[axis] + 2), axis),
        )
        table = np.minimum(table, np.minimum(before, after))
    return StepTable(table, bounds[0], bounds[1], _BIN, across)


def needed_bins(
    surface: DeckSurface, cutter: Cutter, bounds: Bounds, finished: Polygon
) -> NDArray[np.bool_]:
    """(columns, rows) the bins over `bounds` in which lines are needed: those over `finished`, and
    those where the axis stands when it cuts a slope, with their neighbours."""
    sloped = np.where(np.hypot(*np.gradient(surface.grid, surface.step)) > _LEVEL, 0.0, math.inf)
    axis = least_by_axis(surface, cutter, sloped, 1.0, bounds, (_BIN, _BIN)) < 1.0
    columns, rows = axis.shape
    xs = np.asarray(bounds[0] + (np.arange(columns) + 0.5) * _BIN, dtype=np.float64)
    ys = np.asarray(bounds[1] + (np.arange(rows) + 0.5) * _BIN, dtype=np.float64)
    # One bin wider, since a bin counts by its middle.
    wide = finished.buffer(_BIN, join_style="mitre")
    return np.asarray(grown(axis, 1.5) | inside(edges_of(wide), xs, ys))


def least_by_axis(
    surface: DeckSurface,
    cutter: Cutter,
    steps: Array,
    widest: float,
    bounds: Bounds,
    size: tuple[float, float],
) -> Array:
    """(columns, rows) the least of the `steps` allowed at the nodes, by the place of the cutter's
    axis, mm.

    A node with gradient g is finished by the cutter whose axis stands at node − reach·g
    (`contact_reach`). `size` is that of a bin along X and Y, mm, from (left, low) of the `bounds`;
    a bin holds `widest` where nothing asks for less.
    """
    left, low, right, high = bounds
    hx, hy = np.gradient(surface.grid, surface.step)
    reach = contact_reach(np.hypot(hx, hy), cutter.profile)
    columns, rows = (
        max(1, math.ceil((right - left) / size[0])),
        max(1, math.ceil((high - low) / size[1])),
    )
    i = np.floor((surface.xs[:, None] - reach * hx - left) / size[0]).astype(np.int64)
    j = np.floor((surface.ys[None, :] - reach * hy - low) / size[1]).astype(np.int64)
    # An axis just outside counts for the bin beside it; one farther off is of no concern here.
    binds = (steps < widest) & (i >= -1) & (i <= columns) & (j >= -1) & (j <= rows)
    table = np.full((columns, rows), widest)
    np.minimum.at(
        table, (np.clip(i[binds], 0, columns - 1), np.clip(j[binds], 0, rows - 1)), steps[binds]
    )
    return table


def slopes_over(
    surface: DeckSurface, bounds: Bounds, finished: Polygon | None = None
) -> tuple[Array, Array]:
    """Slope and bend at the nodes over `bounds`, of one shape, (n, m): |gradient|, and the bend
    across lines that run up the slope (1/mm), positive where it is convex; only at those within
    `finished`, (k,), if that is given."""
    left, low, right, high = bounds
    i, j = np.searchsorted(surface.xs, left), np.searchsorted(surface.ys, low)
    last_i = int(np.searchsorted(surface.xs, right, "right"))
    last_j = int(np.searchsorted(surface.ys, high, "right"))
    # two nodes more all round: central differences of central differences
    first_i, first_j = max(int(i) - 2, 0), max(int(j) - 2, 0)
    grid, spacing = surface.grid[first_i : last_i + 2, first_j : last_j + 2], surface.step
    hx, hy = np.gradient(grid, spacing)
    slope = np.hypot(hx, hy)
    # Level ground has no direction of fall; 1e-6 only keeps the division finite.
    steep = np.maximum(slope, 1e-6)
    # Unit vector along the contour line.
    tx, ty = -hy / steep, hx / steep
    hxx, hxy = np.gradient(hx, spacing)
    hyy = np.gradient(hy, spacing, axis=1)
    bend = -(hxx * tx**2 + 2.0 * hxy * tx * ty + hyy * ty**2)
    over = slice(int(i) - first_i, last_i - first_i), slice(int(j) - first_j, last_j - first_j)
    if finished is None:
        return np.ascontiguousarray(slope[over]), np.ascontiguousarray(bend[over])
    xs, ys = surface.xs[first_i : last_i + 2][over[0]], surface.ys[first_j : last_j + 2][over[1]]
    within = inside(edges_of(finished), xs, ys)
    return slope[over][within], bend[over][within]


def surface_minutes(
    slopes: tuple[Array, Array],
    spacing: float,
    cutter: Cutter,
    scallop: float,
    widest: float,
    feed: float,
) -> tuple[float, float]:
    """Return the least minutes to finish a surface with the `slopes` (`slopes_over`: two arrays of
    one shape) at nodes `spacing` mm apart, and those of the part that slopes by more than 0.001.

    The integral of dA / (s·feed): s (at most `widest`, mm) is the largest step between neighbouring
    contacts that any direction of lines allows, which is that of lines up the slope: s = √(8 c rho
    / (1 + bend rho)) along the surface. `feed` in mm/min. Turns, links and whole numbers of lines
    come on top.
    """
    slope, bend = (part.reshape(-1) for part in slopes)
    each = np.empty_like(slope)
    for first in range(0, len(each), _CHUNK):
        part = slice(first, first + _CHUNK)
        steps = _contact_steps(slope[part], bend[part], cutter, scallop, widest)
        each[part] = np.sqrt(1.0 + slope[part] ** 2) / steps * spacing**2 / feed
    return float(each.sum()), float(each[slope > 1e-3].sum())


def _contact_steps(
    slope: Array, bend: Array, cutter: Cutter, scallop: float, widest: float
) -> Array:
    """The largest steps (n,) between neighbouring contacts, mm, of `surface_minutes`."""
    # Level ground has no direction of fall; 1e-6 only keeps the division finite.
    steep = np.maximum(slope, 1e-6)
    flat, corner = cutter.flat_radius, cutter.corner_radius
    radius = np.full_like(slope, corner)
    if flat > 0.0:
        ellipse = flat / steep * np.maximum(1.0 - 0.5 * scallop / (steep * flat), 0.5)
        radius += np.minimum(ellipse, 0.5 * flat**2 / scallop)
    return np.minimum(
        np.sqrt(8.0 * scallop * radius / np.maximum(1.0 + bend * radius, _LEAST_ROOM)), widest
    )
