"""Decks from a mesh: heights at all nodes against trimesh's own ray casts, and growth with the area of the board."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Iterator

import numpy as np
import trimesh
from numpy.typing import NDArray

from corepath.board.mesh_rays import cells_of, look_down
from tests.benchmarks.timing import wall

__all__ = ["deck_sources"]

SIDE = 400.0
"""mm: side of the smallest square of the growth."""

RAYS = 2000
"""as many as trimesh's ray casts take in about a second."""


def _faces(side: float, facet: float = 6.0) -> NDArray[np.float64]:
    ticks = np.arange(-side / 2.0, side / 2.0 + facet, facet)
    x, y = np.meshgrid(ticks, ticks, indexing="ij")
    top = np.stack([x, y, 8.0 + 2.0 * np.cos(x / 90.0) * np.cos(y / 70.0)], axis=-1)
    a, b, c, d = top[:-1, :-1], top[1:, :-1], top[1:, 1:], top[:-1, 1:]
    return np.concatenate([np.stack(half, axis=-2).reshape(-1, 3, 3) for half in ((a, b, c), (a, c, d))])


def _look(side: float) -> None:
    ticks = np.arange(-side / 2.0, side / 2.0)
    x, y = (axis.ravel() for axis in np.meshgrid(ticks, ticks, indexing="ij"))
    look_down(cells_of(_faces(side)), x, y)


def _spent(side: float) -> float:
    return wall(lambda: _look(side), 3)


def deck_sources() -> Iterator[str]:
    """One line for each ratio."""
    _look(40.0)
    one, four = _spent(SIDE), _spent(2.0 * SIDE)
    verdict = "ok" if four <= 4.8 * one else "OVER"
    yield f"{verdict:5}heights of a mesh, four times the area: {four / one:.2f} x ({one * 1e3:.0f} ms); target 4.8"
    faces = _faces(SIDE)
    mesh = trimesh.Trimesh(faces.reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3), process=False)
    x, y = np.random.default_rng(1).uniform(-SIDE / 2.0, SIDE / 2.0, (2, RAYS))
    start = np.column_stack([x, y, np.full(RAYS, 50.0)])
    begin = time.perf_counter()
    mesh.ray.intersects_location(start, np.tile([0.0, 0.0, -1.0], (RAYS, 1)))
    theirs = (time.perf_counter() - begin) / RAYS
    ours = one / SIDE**2
    verdict = "ok" if ours <= 0.1 * theirs else "OVER"
    yield (
        f"{verdict:5}height at one place: {ours * 1e6:.2f} us, {ours / theirs:.4f} x a ray cast of trimesh "
        f"({theirs * 1e6:.0f} us); target 0.1"
    )
    tracemalloc.start()
    _look(2.0 * SIDE)
    peak = tracemalloc.get_traced_memory()[1] / (2.0 * SIDE) ** 2
    tracemalloc.stop()
    yield f"{'ok' if peak < 200 else 'OVER':5}memory for heights of a mesh: {peak:.0f} bytes a node; target 200"
