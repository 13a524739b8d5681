"""Binary glTF: read back by trimesh, a library of its own."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
import trimesh

from corepath.views.player.gltf import Eye, Painted, gltf
from corepath.views.solid import ClosedMesh

EYE = Eye(tilt=0.9, turn=0.3, upright=math.radians(30.0), aspect=1.5)
CORNERS = np.array([(x, y, 0.0) for x in (-60.0, 60.0) for y in (-20.0, 20.0)])


def box(size: tuple[float, float, float], colour: tuple[int, int, int], name: str) -> Painted:
    made = trimesh.creation.box(size)
    mesh = ClosedMesh(np.asarray(made.vertices), np.asarray(made.faces, dtype=np.int64))
    return Painted(name, mesh, colour)


def read(data: bytes) -> trimesh.Scene:
    return trimesh.load(io.BytesIO(data), file_type="glb", process=False)


def test_bodies_names_and_colours_are_read_as_written() -> None:
    parts = [box((120, 40, 10), (176, 158, 126), "wood"), box((7, 3, 2), (15, 76, 84), "casting")]
    scene = read(gltf(parts, EYE, CORNERS))
    assert sorted(scene.geometry) == ["casting", "wood"]
    for part in parts:
        mesh = scene.geometry[part.name]
        assert np.array_equal(mesh.vertices, part.mesh.vertices)
        assert np.array_equal(mesh.faces, part.mesh.faces) and mesh.is_watertight
        assert mesh.volume == pytest.approx(part.mesh.volume)
        assert tuple(mesh.visual.material.baseColorFactor[:3]) == part.colour


def test_chunks_are_whole_fours_whatever_a_name_is_long() -> None:
    for name in ("a", "ab", "abc", "abcd"):
        data = gltf([box((1, 2, 3), (1, 2, 3), name)], EYE, CORNERS)
        assert int.from_bytes(data[8:12], "little") == len(data)
        assert int.from_bytes(data[12:16], "little") % 4 == 0
        assert list(read(data).geometry) == [name]


def test_the_eye_is_turned_as_the_library_turns_it() -> None:
    camera = trimesh.scene.Camera(fov=(45.0, 30.0), resolution=(1500, 1000))
    turned = trimesh.transformations.euler_matrix(EYE.tilt, 0.0, EYE.turn)
    asked = camera.look_at(CORNERS, rotation=turned)
    assert np.allclose(EYE.matrix(CORNERS)[:3, :3], asked[:3, :3], atol=1e-12)


def test_the_eye_sees_all_corners_and_one_of_them_at_the_very_edge() -> None:
    pose = EYE.matrix(CORNERS)
    seen = np.column_stack([CORNERS, np.ones(len(CORNERS))]) @ np.linalg.inv(pose).T
    half = math.tan(EYE.upright / 2.0)
    up = np.abs(seen[:, 1]) / (-seen[:, 2] * half)
    across = np.abs(seen[:, 0]) / (-seen[:, 2] * half * EYE.aspect)
    assert (seen[:, 2] < 0.0).all()
    assert max(up.max(), across.max()) == pytest.approx(1.0)
