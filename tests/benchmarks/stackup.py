"""Timed ratios of the stack-up: a map through 400 measured places with all checks, and the Monte
Carlo.

The baselines are plain loops in Python, place by place and draw by draw, as one would first write
them. The whole would take minutes, so they run on a share of the places or draws, and the time of
the loop is scaled up by that share; each row says which. Before they are timed they must give our
figures: the Monte Carlo draw for draw, the map within the noise of the figures. Every run of ours
gets another blank, so that nothing kept from the run before helps it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.table import Row
from tests.benchmarks.timing import ROOT, SAMPLE, Timed, cpu

__all__ = ["stackup"]

Floats = NDArray[np.float64]

POINTS, GRID = 400, 2.0
GROWTH = 1.25
NOISE = 0.02
"""Standard deviation of one figure of the blank, mm."""

MAP_SHARE = 400
"""The plain loops do one of so many places of the grid."""


def stackup() -> Iterator[Row]:
    """All rows of this module; CPU seconds."""
    yield from measured_map()
    yield from map_growth()


def _blank(count: int, seed: int = 7) -> Floats:
    """Rows x, y, thickness: a wavy blank with the noise of callipers."""
    chance = np.random.default_rng(seed)
    x, y = chance.uniform(-700, 700, count), chance.uniform(-240, 240, count)
    return np.column_stack(
        [x, y, 13.6 + 0.1 * np.sin(x / 200) * np.cos(y / 150) + chance.normal(0, NOISE, count)]
    )


def _grid(step: float) -> Floats:
    return np.array(
        [(x, y) for x in np.arange(-700, 701, step) for y in np.arange(-240, 241, step)]
    )


def _plain_weights(rows: Floats, smoothing: float) -> list[float]:
    """Plane and one weight for each place of a smoothed thin plate in metres, by one set of linear
    equations."""
    places = rows[:, :2] / 1000.0
    squared = ((places[:, None] - places[None]) ** 2).sum(axis=2)
    kernel = squared * np.log(np.where(squared > 0, squared, 1.0)) + smoothing * np.eye(len(rows))
    plane = np.column_stack([np.ones(len(rows)), places])
    matrix = np.block([[plane, kernel], [np.zeros((3, 3)), plane.T]])
    found: list[float] = np.linalg.solve(matrix, np.concatenate([rows[:, 2], np.zeros(3)])).tolist()
    return found


def _plain_map(rows: Floats, weights: list[float], grid: Floats) -> list[float]:
    """One thin-plate sum over all measured places for each place of the grid."""
    level, along, across, *bends = weights
    found = []
    for gx, gy in (grid / 1000.0).tolist():
        total = level + along * gx + across * gy
        for (x, y), weight in zip((rows[:, :2] / 1000.0).tolist(), bends, strict=True):
            squared = (gx - x) ** 2 + (gy - y) ** 2
            if squared > 0:
                total += weight * squared * math.log(squared)
        found.append(total)
    return found


def measured_map() -> Iterator[Row]:
    """Fit, map on a 2 mm grid over the full blank with its error, and all checks of board-1280 on
    it.

    The plain loop does less: the map alone, without its error and without any check.
    """
    from corepath.job.load import load_job
    from corepath.job.measured import Measured
    from corepath.planning.known import Known
    from corepath.planning.prepare import prepare_job
    from corepath.stackup.measuring.fitting import fit

    job = load_job(SAMPLE)
    grid, seeds = _grid(GRID), itertools.count(100)

    def whole() -> None:
        x, y, thickness = _blank(POINTS, next(seeds)).T
        fitted = fit(x, y, thickness, 0.05)
        fitted.value(*grid.T)
        fitted.uncertainty(*grid.T)
        prepare_job(
            job, ROOT / "samples", Known(Measured(x, y, thickness, np.full(POINTS, np.nan)))
        )

    rows, share = _blank(POINTS), grid[::MAP_SHARE]
    weights = _plain_weights(rows, 0.01)
    off = np.array(_plain_map(rows, weights, share)) - fit(*rows.T, 0.05).value(*share.T)
    assert float(np.sqrt((off**2).mean())) < NOISE, (
        "the plain loop must give the map that ours gives"
    )
    whole()
    mine = cpu(whole, 3)
    theirs = cpu(lambda: _plain_map(rows, weights, share), 3).times(len(grid) / len(share))
    name = f"map of {POINTS} places on {len(grid):,} nodes with its error, all checks"
    baseline = f"plain loop of the map alone, 1 of {MAP_SHARE} nodes, scaled up"
    yield Row.against(name, mine, baseline, theirs, 0.1)


def map_growth() -> Iterator[Row]:
    """How the map and its error grow with the measured places and with the nodes, once fitted; and
    the fit."""
    from corepath.stackup.measuring.fitting import fit

    def of(count: int, step: float) -> Timed:
        fitted, nodes = fit(*_blank(count).T, 0.05), _grid(step)
        return cpu(lambda: (fitted.value(*nodes.T), fitted.uncertainty(*nodes.T)), 5)

    def fitting(count: int) -> Timed:
        rows = _blank(count)
        return cpu(lambda: fit(*rows.T, 0.05), 3)

    counts = (POINTS, 4 * POINTS)
    whole = of(POINTS, GRID)
    by_places = [(POINTS, whole), (4 * POINTS, of(4 * POINTS, GRID))]
    yield Row.growing("map once fitted, by measured places", "places", by_places, GROWTH)
    by_nodes = [(len(_grid(2 * GRID)), of(POINTS, 2 * GRID)), (len(_grid(GRID)), whole)]
    yield Row.growing("map once fitted, by nodes", "nodes", by_nodes, GROWTH)
    yield Row.growing(
        "fitting the map", "places", [(count, fitting(count)) for count in counts], GROWTH
    )
