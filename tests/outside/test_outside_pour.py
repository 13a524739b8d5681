"""Volumes and masses of the pour against closed forms, an independent mesh library and a
calculation by hand.

Sources: perimeter of an ellipse as 4 a E(m), m = 1 - b^2/a^2 (Abramowitz and Stegun, Handbook of
Mathematical Functions, chapter 17, from memory); area between parallel curves of a closed convex
line by Steiner's formula (from memory); stadium by elementary geometry; volume of a mesh by trimesh
(divergence theorem over its faces).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
import trimesh
from scipy.special import ellipe
from shapely import Polygon

from corepath.board.footprints import offset
from corepath.board.outline.curves import arc_points, closed_curve
from corepath.job.model import CastSection
from corepath.stackup.linear import Linear
from corepath.stackup.pour.mixing import parts
from corepath.stackup.pour.pour import CastingPour, tilted, volume_of

INSIDE, OUTSIDE, DEPTH, SHORT = 8.0, 6.0, 12.4, 0.3


def ring(outline: Polygon) -> Polygon:
    return Polygon(offset(outline, OUTSIDE).exterior, [offset(outline, -INSIDE).exterior])


def stadium(straight: float, radius: float) -> Polygon:
    right = arc_points(straight / 2, 0.0, radius, -math.pi / 2, math.pi)
    return Polygon(np.vstack([right, -right]))


def ellipse(a: float, b: float) -> Polygon:
    u = 2 * np.pi * np.arange(400) / 400
    return Polygon(closed_curve(np.column_stack([a * np.cos(u), b * np.sin(u)])))


def test_ring_round_an_ellipse():
    """(L (inside + outside) + pi (outside² - inside²)) x height, walls within 0.002 mm."""
    a, b = 640.0, 210.0
    length = 4 * a * ellipe(1 - (b / a) ** 2)
    area = length * (INSIDE + OUTSIDE) + math.pi * (OUTSIDE**2 - INSIDE**2)
    expected = area * (DEPTH - SHORT) / 1000.0
    off = 0.002 * 2 * length * DEPTH / 1000.0
    assert volume_of(ring(ellipse(a, b)).area, DEPTH, SHORT) == pytest.approx(expected, abs=off)


def test_ring_round_a_stadium():
    """Both walls are stadiums: (2 l r + pi r²) of the outer less that of the inner, flush full."""
    straight, radius = 900.0, 180.0

    def area(r: float) -> float:
        return 2 * straight * r + math.pi * r**2

    expected = (area(radius + OUTSIDE) - area(radius - INSIDE)) * DEPTH / 1000.0
    off = 0.002 * 2 * (2 * straight + 2 * math.pi * radius) * DEPTH / 1000.0
    assert volume_of(ring(stadium(straight, radius)).area, DEPTH) == pytest.approx(
        expected, abs=off
    )


def mesh_of(area: Polygon, height: float) -> trimesh.Trimesh:
    """The prism over a polygon with holes, from its triangles."""
    triangles = shapely.constrained_delaunay_triangles(area).geoms
    corners = np.vstack([np.asarray(triangle.exterior.coords)[:3] for triangle in triangles])
    vertices, index = np.unique(corners, axis=0, return_inverse=True)
    return trimesh.creation.extrude_triangulation(vertices, index.reshape(-1, 3), height)


@pytest.mark.parametrize(
    "outline", [ellipse(640, 210), stadium(900, 180)], ids=["ellipse", "stadium"]
)
def test_ring_as_a_mesh(outline):
    """The prism's volume by trimesh is the volume to the pour line."""
    area = ring(outline).simplify(0.01)
    mesh = mesh_of(area, DEPTH - SHORT)
    assert mesh.is_watertight
    assert volume_of(area.area, DEPTH, SHORT) == pytest.approx(abs(mesh.volume) / 1000.0, rel=1e-9)


def test_what_runs_over_as_a_mesh():
    """A tilted ring, poured level: what would stand above the plane through its lowest rim is
    spilled."""
    level, short = 4.0, 0.5
    area = ring(stadium(300, 80)).simplify(0.01)
    half_span = (area.bounds[2] - area.bounds[0]) / 2
    mesh = mesh_of(area, DEPTH)
    slope = level / 1000.0
    mesh.vertices[:, 2] += mesh.vertices[:, 0] * slope - DEPTH
    held = mesh.slice_plane([0, 0, -slope * half_span], [0, 0, -1])
    # a slice leaves its cut open, but a level cut has no part in the flux of (x, 0, 0), which is
    # the volume too
    flux = np.sum(held.triangles_center[:, 0] * held.face_normals[:, 0] * held.area_faces)
    poured = area.area * (DEPTH - short) / 1000.0
    pour = CastingPour(
        "groove", 1.2, DEPTH, poured, Linear.of(1.0), 6.0, area=area.area, half_span=half_span
    )
    tilt = tilted(pour, CastSection(pour_short=short, shrinkage=0.0, gel_loss=0.0), level)
    assert tilt.spilled > 1.0
    assert poured - tilt.spilled == pytest.approx(abs(flux) / 1000.0, rel=1e-6)


def test_masses_by_hand():
    """A groove of 1400 x 14 x 12.1 mm, 100 : 90 by weight of densities 1.05 and 1.22, with 15 %
    extra.

    Volume 1400 x 14 x 12.1 / 1000 = 237.16 cm³, with the extra 272.734. Of each 190 g, A takes 100
    / 1.05 = 95.2381 ml and B 90 / 1.22 = 73.7705 ml, together 169.0086 ml: density 1.124203. Mass
    272.734 x 1.124203 = 306.608 g; A 100/190 of it = 161.373, B 145.236 (arithmetic).
    """
    volume = volume_of(1400.0 * 14.0, 12.4, 0.3)
    assert volume == pytest.approx(237.16)
    found = parts(volume, CastSection(ratio=(100.0, 90.0), density=(1.05, 1.22), extra=0.15))
    assert found.total_g == pytest.approx(306.608, abs=0.01)
    assert found.a_g == pytest.approx(161.373, abs=0.01)
    assert found.b_g == pytest.approx(145.236, abs=0.01)
