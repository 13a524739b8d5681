"""Meshes as one binary glTF file (ISO/IEC 12113, the Khronos Group's glTF 2.0; names of its parts
and numbers of its kinds from memory). Flat colours, one camera.

A library for meshes writes such files too, but loads for half a second what a plan needs nothing
of.
"""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.views.solid import ClosedMesh

__all__ = ["Eye", "Painted", "gltf"]

_FLOATS, _COUNTS = 5126, 5125  # kinds of number: 32-bit floats, 32-bit whole numbers without sign
_TRIANGLES = 4
_NEAREST = 0.01

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Painted:
    """A mesh with its name and its colour: red, green, blue, each up to 255."""

    name: str
    mesh: ClosedMesh
    colour: tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Eye:
    """A camera: it looks down by `tilt` from straight above, `turn` about Z (radians), and sees
    `upright` of them from top to bottom, `aspect` times as much across."""

    tilt: float
    turn: float
    upright: float
    aspect: float

    def matrix(self, corners: Floats) -> Floats:
        """Return its pose (4, 4), as far off as it must be to see the places `corners` (n, 3); they
        lie about the middle of what it sees."""
        ct, st, cz, sz = *_turned(self.tilt), *_turned(self.turn)
        # columns: to its right, up, and back, which is where it stands
        axes = np.array([[cz, -sz * ct, sz * st], [sz, cz * ct, -cz * st], [0.0, st, ct]])
        middle = corners.mean(axis=0)
        right, up, back = ((corners - middle) @ axes).T
        half = math.tan(self.upright / 2.0)
        away = np.maximum(np.abs(up), np.abs(right) / self.aspect) / half + back
        pose = np.eye(4)
        pose[:3, :3], pose[:3, 3] = axes, middle + axes[:, 2] * away.max()
        return pose


def _turned(angle: float) -> tuple[float, float]:
    return math.cos(angle), math.sin(angle)


def gltf(parts: Sequence[Painted], eye: Eye, corners: Floats) -> bytes:
    """Return the parts as one file, seen by an eye that stands where it sees the places `corners`
    (n, 3); lengths as given. The same parts give the same bytes."""
    buffers: list[bytes] = []
    accessors: list[dict[str, Any]] = []

    def held(values: NDArray[Any], kind: int, form: str) -> int:
        """Keep a table of numbers; return its place among the accessors."""
        buffers.append(values.tobytes())
        rows = values.reshape(len(values), -1)
        accessors.append(
            {
                "bufferView": len(buffers) - 1,
                "componentType": kind,
                "count": len(values),
                "type": form,
                "min": rows.min(axis=0).tolist(),
                "max": rows.max(axis=0).tolist(),
            }
        )
        return len(accessors) - 1

    meshes = []
    for number, part in enumerate(parts):
        corner = held(part.mesh.faces.ravel().astype("<u4"), _COUNTS, "SCALAR")
        place = held(part.mesh.vertices.astype("<f4"), _FLOATS, "VEC3")
        one = {
            "attributes": {"POSITION": place}, "indices": corner, "material": number,
            "mode": _TRIANGLES,
        }  # fmt: skip
        meshes.append({"name": part.name, "primitives": [one]})
    nodes: list[dict[str, Any]] = [
        {"name": part.name, "mesh": number} for number, part in enumerate(parts)
    ]
    pose = eye.matrix(corners)
    # matrices stand column by column
    nodes.append({"name": "eye", "camera": 0, "matrix": pose.T.ravel().tolist()})
    content = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(nodes)))}],
        "nodes": nodes,
        "meshes": meshes,
        "materials": [_matt(part) for part in parts],
        "cameras": [_camera(eye)],
        "accessors": accessors,
        "bufferViews": _views(buffers),
        "buffers": [{"byteLength": sum(map(len, buffers))}],
    }
    return _file(json.dumps(content, separators=(",", ":")).encode(), b"".join(buffers))


def _matt(part: Painted) -> dict[str, Any]:
    colour = [*(level / 255 for level in part.colour), 1.0]
    return {
        "name": part.name,
        "pbrMetallicRoughness": {
            "baseColorFactor": colour,
            "metallicFactor": 0.0,
            "roughnessFactor": 0.9,
        },
    }


def _camera(eye: Eye) -> dict[str, Any]:
    seen = {"aspectRatio": eye.aspect, "yfov": eye.upright, "znear": _NEAREST}
    return {"name": "eye", "type": "perspective", "perspective": seen}


def _views(buffers: Sequence[bytes]) -> list[dict[str, int]]:
    """Where each of the buffers stands when they are put one behind the other."""
    views, begin = [], 0
    for held in buffers:
        views.append({"buffer": 0, "byteOffset": begin, "byteLength": len(held)})
        begin += len(held)
    return views


def _file(content: bytes, binary: bytes) -> bytes:
    """Return both chunks behind their head: sizes with the chunk's kind, filled up to four bytes,
    the text with spaces."""
    content += b" " * (-len(content) % 4)
    chunks = b"".join(
        struct.pack("<I4s", len(chunk), kind) + chunk
        for kind, chunk in ((b"JSON", content), (b"BIN\0", binary))
    )
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks
