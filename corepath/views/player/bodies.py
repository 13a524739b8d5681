"""The core after each set-up as glTF. Heights are to scale. Vertices lie on a grid of 1/32 mm,
which compresses well."""

from __future__ import annotations

import math

import numpy as np

from corepath.views.player.gltf import Eye, Painted, gltf
from corepath.views.player.play_model import Heights, PlayedBlank
from corepath.views.solid import ClosedMesh, HeightMap, body

__all__ = ["glb"]

_WOOD, _CASTING = (176, 158, 126), (15, 76, 84)
_TOLERANCE = 0.1  # mm; the STL files, which are not part of a page, have 0.03
_GRID = 32.0  # steps of a mm: a power of two, so that rounded vertices are exact floats
_LARGEST = 16
_EYE = Eye(tilt=0.9, turn=0.3, upright=math.radians(30.0), aspect=1.5)  # front edge and above


def glb(blank: PlayedBlank, rim: tuple[float, float]) -> bytes:
    """Return wood and casting of a blank as one binary glTF file, mm; `rim` is half its length and
    half its width.

    The same blank gives the same bytes. Raises ValueError where nothing is left.
    """
    kinds = (("wood", blank.faces.wood, _WOOD), ("casting", blank.faces.casting, _CASTING))
    parts = [
        Painted(name, _body(blank, faces, rim), colour)
        for name, faces, colour in kinds
        if np.isfinite(faces[1]).any()
    ]
    parts = [part for part in parts if len(part.mesh.faces)]
    if not parts:
        raise ValueError("nothing is left of the blank")
    x, y = rim
    corners = np.array([(-x, -y, 0.0), (x, -y, 0.0), (x, y, 0.0), (-x, y, 0.0)])
    return gltf(parts, _EYE, corners)


def _body(
    blank: PlayedBlank, faces: tuple[Heights, Heights], rim: tuple[float, float]
) -> ClosedMesh:
    at = blank.lattice
    xs = np.asarray(at.x0 + at.px * np.arange(at.nx), dtype=np.float64)
    ys = np.asarray(at.y0 + at.py * np.arange(at.ny), dtype=np.float64)
    made = body(HeightMap(xs, ys, *faces), rim, _TOLERANCE, _LARGEST)
    order = np.argsort(made.faces.min(axis=1), kind="stable")
    return ClosedMesh(np.round(made.vertices * _GRID) / _GRID, made.faces[order])
