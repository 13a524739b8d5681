"""Heights of a deck from a file, against sources outside the project.

- Stanford Bunny (Stanford University Computer Graphics Laboratory, 3D Scanning Repository), as the
  package pymeshfix ships it (pymeshfix/examples/StanfordBunny.ply), against vertical ray casts by
  trimesh.
- Closed forms: sphere, cone and plane as meshes, within the sag of their own facets.
"""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest
import trimesh

from corepath.board.deck.files.mesh_file import placed_faces
from corepath.board.deck.files.mesh_rays import cells_of, look_down
from corepath.job.model import DeckSection


@pytest.fixture(scope="module")
def bunny() -> Path:
    spec = importlib.util.find_spec("pymeshfix")
    assert spec is not None and spec.origin is not None
    return Path(spec.origin).parent / "examples" / "StanfordBunny.ply"


def test_tops_of_the_bunny_are_those_of_ray_casts(bunny: Path):
    """A ray lost between two faces, or through the wrong one, would leave a pit or a spike in the
    deck."""
    deck = DeckSection(mesh="bunny.ply", mesh_units="mm", mesh_at=(3.0, -4.0, 1.0), mesh_angle=25.0)
    data = bunny.read_bytes()
    faces, _ = placed_faces(data, "bunny.ply", deck)
    low, high = faces[:, :, :2].min(axis=(0, 1)), faces[:, :, :2].max(axis=(0, 1))
    rng = np.random.default_rng(6)
    x, y = rng.uniform(low[:, None], high[:, None], (2, 1500))
    top, _, layers, _ = look_down(cells_of(faces), x, y)
    mesh = trimesh.load(bunny, process=False)
    c, s = math.cos(math.radians(25.0)), math.sin(math.radians(25.0))
    mesh.apply_transform([[c, -s, 0, 3.0], [s, c, 0, -4.0], [0, 0, 1, 1.0], [0, 0, 0, 1]])
    start = np.column_stack([x, y, np.full(len(x), mesh.bounds[1, 2] + 1.0)])
    at, ray, _ = mesh.ray.intersects_location(
        start, np.tile([0.0, 0.0, -1.0], (len(x), 1)), multiple_hits=True
    )
    want = np.full(len(x), -np.inf)
    np.maximum.at(want, ray, at[:, 2])
    there = np.isfinite(want)
    assert there.sum() > 700 and np.array_equal(there, np.isfinite(top)) and layers.max() > 2
    # the span of the bunny times the grain of double numbers through trimesh's own plane equations
    assert np.abs(top - want)[there].max() < 1e-9 * float(np.ptp(mesh.vertices))


@pytest.mark.whole
@pytest.mark.parametrize("angle", [0.0, 30.0])
def test_sphere_cone_and_plane_are_their_closed_forms(angle: float):
    """Within the sag of the facets: r (1 - cos(half their angle)) of a sphere, nothing of a
    plane."""
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-35.0, 35.0, (2, 4000))
    r = np.hypot(x, y)
    ball = trimesh.creation.icosphere(subdivisions=6, radius=50.0)
    ball.apply_transform(trimesh.transformations.rotation_matrix(math.radians(angle), [0, 0, 1]))
    top = look_down(cells_of(ball.triangles), x, y)[0]
    longest = float(ball.edges_unique_length.max())
    off = np.sqrt(2500.0 - r**2) - top
    sag = longest**2 / (6.0 * 50.0)  # a facet's circumradius is at most its side over the root of 3
    assert off.min() > -1e-9 and off.max() < 1.05 * sag / math.sqrt(
        1.0 - (float(r.max()) / 50.0) ** 2
    )
    cone = trimesh.creation.cone(radius=60.0, height=30.0, sections=720)
    cone.apply_transform(trimesh.transformations.rotation_matrix(math.radians(angle), [0, 0, 1]))
    flat = r / 60.0 * 30.0
    down = 30.0 - flat - look_down(cells_of(cone.triangles), x, y)[0]
    assert down.min() > -1e-9 and down.max() < 30.0 * (1.0 / math.cos(math.pi / 720.0) - 1.0) + 1e-9
    plane = np.array(
        [
            [[-99, -99, 0.0], [99, -99, 9.9], [99, 99, 9.9]],
            [[-99, -99, 0.0], [99, 99, 9.9], [-99, 99, 0]],
        ]
    )
    assert np.abs(look_down(cells_of(plane), x, y)[0] - (x + 99.0) / 20.0).max() < 1e-12
