"""Decks from a mesh: heights at all nodes against trimesh's own ray casts, and growth with the area
of the board."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import trimesh
from numpy.typing import NDArray

from corepath.board.deck.files.mesh_rays import cells_of, look_down
from tests.benchmarks.table import Figure, Row
from tests.benchmarks.timing import Timed, cpu, peak_memory

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
    return np.concatenate(
        [np.stack(half, axis=-2).reshape(-1, 3, 3) for half in ((a, b, c), (a, c, d))]
    )


def _look(side: float) -> None:
    ticks = np.arange(-side / 2.0, side / 2.0)
    x, y = (axis.ravel() for axis in np.meshgrid(ticks, ticks, indexing="ij"))
    look_down(cells_of(_faces(side)), x, y)


def _spent(side: float) -> Timed:
    return cpu(lambda: _look(side), 3)


def deck_sources() -> Iterator[Row]:
    """Growth, the ratio, and the memory."""
    _look(40.0)
    one, four = _spent(SIDE), _spent(2.0 * SIDE)
    yield Row.growing(
        "heights of a mesh", "mm² of board", [(SIDE**2, one), (4.0 * SIDE**2, four)], 1.13
    )
    faces = _faces(SIDE)
    mesh = trimesh.Trimesh(
        faces.reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3), process=False
    )
    x, y = np.random.default_rng(1).uniform(-SIDE / 2.0, SIDE / 2.0, (2, RAYS))
    start = np.column_stack([x, y, np.full(RAYS, 50.0)])
    down = np.tile([0.0, 0.0, -1.0], (RAYS, 1))
    theirs = cpu(lambda: mesh.ray.intersects_location(start, down), 2).times(1.0 / RAYS)
    yield Row.against(
        "height of a mesh at one place",
        one.times(1.0 / SIDE**2),
        "a ray cast of trimesh",
        theirs,
        0.1,
    )
    each = peak_memory(lambda: _look(2.0 * SIDE)) / (2.0 * SIDE) ** 2
    yield Row("memory for heights of a mesh", Figure(each, "bytes a node"), 200.0)
