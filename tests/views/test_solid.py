"""Bodies of columns as meshes: closed, as large as the columns, within the tolerance of them."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from corepath.views.solid import ClosedMesh, HeightMap, body, stl

Floats = NDArray[np.float64]

LENGTH, WIDTH, THICK, CELL = 90.0, 60.0, 16.0, 0.5
XS = np.arange(-LENGTH / 2 + CELL / 2, LENGTH / 2, CELL)
YS = np.arange(-WIDTH / 2 + CELL / 2, WIDTH / 2, CELL)
X, Y = np.meshgrid(XS, YS)
TOLERANCE = 0.02


def meshed(bottom: Floats, top: Floats) -> tuple[ClosedMesh, trimesh.Trimesh]:
    made = body(HeightMap(XS, YS, bottom, top), (LENGTH / 2, WIDTH / 2), TOLERANCE)
    return made, trimesh.load(io.BytesIO(stl(made)), file_type="stl")


def level(height: float) -> Floats:
    return np.full(X.shape, height)


def test_a_block_is_a_block() -> None:
    made, mesh = meshed(level(0.0), level(THICK))
    assert mesh.is_watertight and made.volume == pytest.approx(LENGTH * WIDTH * THICK, rel=1e-12)
    assert mesh.bounds == pytest.approx(np.array([[-45, -30, 0], [45, 30, 16]]))
    assert len(made.faces) < 0.1 * 4 * X.size, "level faces take few triangles, but along the rim"


def test_a_blind_pocket_and_a_hole_are_as_large_as_they_were_cut() -> None:
    """Closed forms: block less a cylinder of 20 x 12 and one of 8 through it; half a cell at a wall
    is the doubt."""
    top = level(THICK)
    top[np.hypot(X - 20, Y - 3) < 10] = 4.0
    bottom = level(0.0)
    hole = np.hypot(X + 20, Y) < 4
    top[hole] = bottom[hole] = np.nan
    made, mesh = meshed(bottom, top)
    wanted = LENGTH * WIDTH * THICK - np.pi * 100 * 12 - np.pi * 16 * THICK
    walls = 2 * np.pi * 10 * 12 + 2 * np.pi * 4 * THICK
    assert mesh.is_watertight and mesh.is_winding_consistent
    assert abs(made.volume - wanted) < 0.1 * CELL * walls
    assert made.volume == pytest.approx(mesh.volume, rel=1e-5)


def test_a_curved_face_is_shown_within_the_tolerance() -> None:
    """Coarse squares on a slope would hide what the deck really is."""
    height = 10.0 - 2.0e-3 * X**2 + 0.4 * np.sin(Y / 7.0)
    made, mesh = meshed(level(0.0), height)
    places = np.random.default_rng(3).integers(0, [len(YS), len(XS)], size=(400, 2))
    starts = np.column_stack(
        [XS[places[:, 1]] + 0.011, YS[places[:, 0]] + 0.023, np.full(400, 50.0)]
    )
    hits, rays, _ = mesh.ray.intersects_location(starts, np.tile([0.0, 0.0, -1.0], (400, 1)))
    highest = np.full(400, -np.inf)
    np.maximum.at(highest, rays, hits[:, 2])
    assert np.abs(highest - height[places[:, 0], places[:, 1]]).max() < TOLERANCE + 0.004
    assert len(made.faces) < 0.25 * 4 * X.size


@pytest.mark.parametrize("seed", range(4))
def test_any_scatter_of_columns_is_closed(seed: int) -> None:
    """Columns that touch at a corner only would make an edge with four faces."""
    draw = np.random.default_rng(seed)
    top = np.where(draw.random(X.shape) < 0.8, draw.uniform(5, 9, X.shape), np.nan)
    made, mesh = meshed(np.where(np.isnan(top), np.nan, 1.0), top)
    assert mesh.is_watertight and made.volume > 0


def test_nothing_left_gives_nothing() -> None:
    gone = np.full(X.shape, np.nan)
    assert len(body(HeightMap(XS, YS, gone, gone), (LENGTH / 2, WIDTH / 2), TOLERANCE).faces) == 0


def test_the_same_columns_give_the_same_bytes() -> None:
    one = stl(meshed(level(0.0), level(THICK))[0])
    assert one == stl(meshed(level(0.0), level(THICK))[0]) and len(one) == 84 + 50 * int.from_bytes(
        one[80:84], "little"
    )
