"""Timed ratios of the stack-up: a map through 400 measured places with all checks, and the Monte Carlo.

The baselines are plain loops in Python, place by place and draw by draw. They are run on a share of the work
(stated in the line) and scaled up, since the whole would take minutes.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
POINTS, GRID, DRAWS, PLACES = 400, 2.0, 10_000, 400


def stackup() -> Iterator[str]:
    """All lines of this module."""
    yield from measured_map()
    yield from monte_carlo()


def _seconds(call: Callable[[], object], times: int = 3) -> float:
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        call()
        spent.append(time.perf_counter() - begin)
    return min(spent)


def _blank(count: int) -> np.ndarray:
    """Rows x, y, thickness: a wavy blank with the noise of callipers."""
    chance = np.random.default_rng(7)
    x, y = chance.uniform(-700, 700, count), chance.uniform(-240, 240, count)
    return np.column_stack([x, y, 13.6 + 0.1 * np.sin(x / 200) * np.cos(y / 150) + chance.normal(0, 0.02, count)])


def _plain_map(rows: np.ndarray, grid: np.ndarray) -> list[float]:
    """One thin-plate sum for each place of the grid, as one would first write it."""
    weights = [1e-9] * len(rows)
    found = []
    for gx, gy in grid:
        total = 13.6
        for (x, y, _), weight in zip(rows, weights, strict=True):
            squared = (gx - x) ** 2 + (gy - y) ** 2
            if squared > 0:
                total += weight * squared * math.log(squared)
        found.append(total)
    return found


def measured_map() -> Iterator[str]:
    """Map on a 2 mm grid over the full blank, with its error, and all checks of board-1280 on it."""
    from corepath.job.load import load_job
    from corepath.job.measured import Measured
    from corepath.planning.known import Known
    from corepath.planning.prepare import prepare_job
    from corepath.stackup.fitting import fit

    job = load_job(ROOT / "samples" / "board-1280.toml")
    grid = np.array([(x, y) for x in np.arange(-700, 701, GRID) for y in np.arange(-240, 241, GRID)])

    def whole(count: int) -> Callable[[], object]:
        x, y, thickness = _blank(count).T
        measured = Measured(x, y, thickness, np.full(count, np.nan))

        def run() -> None:
            fitted = fit(x, y, thickness, 0.05)
            fitted.value(*grid.T)
            fitted.uncertainty(*grid.T)
            prepare_job(job, ROOT / "samples", Known(measured=measured))

        return run

    whole(50)()
    mine = _seconds(whole(POINTS))
    share = grid[:: len(grid) // 400]
    theirs = _seconds(lambda: _plain_map(_blank(POINTS), share), 1) * len(grid) / len(share)
    yield _line(
        f"map of {POINTS} places, {len(grid)} nodes, all checks", mine, theirs, "one plain loop of the map", 0.1
    )
    few = _seconds(whole(POINTS // 4))
    yield f"     growth from {POINTS // 4} to {POINTS} places: exponent {math.log(mine / few, 4):.2f} (1 is linear)"


def monte_carlo() -> Iterator[str]:
    """The least of a relation over 400 places, 10,000 draws."""
    from corepath.stackup.linear import Linear
    from corepath.stackup.montecarlo import FEATURES, least_over

    places = _blank(PLACES)[:, :2]
    level, error = np.zeros(PLACES), np.full(PLACES, 0.1)
    value = Linear.of(0.5) + Linear.term("touch", 0.05) + Linear.term("bed", 0.05)

    def plain(draws: int) -> None:
        chance = np.random.default_rng(3)
        waves = chance.standard_normal((FEATURES, 2)).tolist()
        for _ in range(draws):
            weights = chance.standard_normal(FEATURES).tolist()
            least = math.inf
            for x, y in places:
                field = sum(w * math.cos(a * x + b * y) for w, (a, b) in zip(weights, waves, strict=True))
                least = min(least, 0.5 + 0.1 * field)

    mine = _seconds(lambda: least_over(value, places, level, error, DRAWS))
    theirs = _seconds(lambda: plain(5), 1) * DRAWS / 5
    yield _line(f"Monte Carlo, {DRAWS} draws, {PLACES} places", mine, theirs, "plain loops", 0.02)
    few = _seconds(lambda: least_over(value, places, level, error, DRAWS // 4))
    yield f"     growth from {DRAWS // 4} to {DRAWS} draws: exponent {math.log(mine / few, 4):.2f} (1 is linear)"


def _line(name: str, mine: float, theirs: float, baseline: str, target: float) -> str:
    verdict = "ok" if mine <= target * theirs else "OVER"
    against = f"{mine / theirs:.4f} x {baseline} ({theirs:.0f} s, scaled up)"
    return f"{verdict:5}{name}: {mine:.2f} s, {against}; target {target:g}"
