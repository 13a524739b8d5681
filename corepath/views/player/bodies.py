"""The core after each set-up as glTF, by trimesh. Heights are to scale. Vertices lie on a grid of
1/32 mm, which compresses well."""

from __future__ import annotations

from importlib import import_module
from typing import Any

import numpy as np

from corepath.views.player.play_model import Heights, PlayedBlank
from corepath.views.solid import ClosedMesh, HeightMap, body

__all__ = ["glb"]

_WOOD, _CASTING = (176, 158, 126, 255), (15, 76, 84, 255)
_TOLERANCE = 0.1  # mm; the STL files, which are not part of a page, have 0.03
_GRID = 32.0  # steps of a mm: a power of two, so that rounded vertices are exact floats
_LARGEST = 16
_ACROSS = 30.0  # degrees that the camera sees upright
_TILT, _TURN = 0.9, 0.3  # radians from straight above, and about Z

_Part = tuple[str, ClosedMesh, tuple[int, int, int, int]]


def glb(blank: PlayedBlank, rim: tuple[float, float]) -> bytes:
    """Return wood and casting of a blank as one binary glTF file, mm; `rim` is half its length and
    half its width.

    The same blank gives the same bytes. Raises ValueError where nothing is left.
    """
    kinds = (("wood", blank.faces.wood, _WOOD), ("casting", blank.faces.casting, _CASTING))
    parts = [
        (name, _body(blank, faces, rim), colour)
        for name, faces, colour in kinds
        if np.isfinite(faces[1]).any()
    ]
    parts = [part for part in parts if len(part[1].faces)]
    if not parts:
        raise ValueError("nothing is left of the blank")
    return _exported(_scene(parts, rim))


def _body(
    blank: PlayedBlank, faces: tuple[Heights, Heights], rim: tuple[float, float]
) -> ClosedMesh:
    at = blank.lattice
    xs = np.asarray(at.x0 + at.px * np.arange(at.nx), dtype=np.float64)
    ys = np.asarray(at.y0 + at.py * np.arange(at.ny), dtype=np.float64)
    made = body(HeightMap(xs, ys, *faces), rim, _TOLERANCE, _LARGEST)
    order = np.argsort(made.faces.min(axis=1), kind="stable")
    return ClosedMesh(np.round(made.vertices * _GRID) / _GRID, made.faces[order])


def _exported(scene: Any) -> bytes:
    data: bytes = scene.export(file_type="glb")
    return data


def _scene(parts: list[_Part], rim: tuple[float, float]) -> Any:
    """Return the trimesh scene: flat colours, seen from the front edge and above.

    The camera has a fixed name: trimesh would give it a random one, and other bytes each time.
    """
    trimesh: Any = import_module("trimesh")
    scene = trimesh.Scene()
    for name, made, colour in parts:
        mesh = trimesh.Trimesh(made.vertices, made.faces, process=False)
        material = trimesh.visual.material.PBRMaterial(
            name=name, baseColorFactor=colour, metallicFactor=0.0, roughnessFactor=0.9
        )
        mesh.visual = trimesh.visual.TextureVisuals(material=material)
        scene.add_geometry(mesh, node_name=name, geom_name=name)
    scene.camera = trimesh.scene.Camera(
        name="eye", fov=(1.5 * _ACROSS, _ACROSS), resolution=(1500, 1000)
    )
    corners = [(-rim[0], -rim[1], 0.0), (rim[0], rim[1], 0.0)]
    turned = trimesh.transformations.euler_matrix(_TILT, 0.0, _TURN)
    scene.camera_transform = scene.camera.look_at(corners, rotation=turned)
    return scene
