"""Which holes count as open, on columns a millimetre apart as in the cases, and half of it."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from corepath.gcode.read.findings import Findings
from corepath.readback.inspection import Inspection
from corepath.readback.simulation_setup import Allowed
from corepath.readback.surfaces.hole_steps import check_holes, is_open
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.contact_kernels import Underside
from corepath.stock.material import Stock
from corepath.stock.path import Pieces
from corepath.work.works import Hole, Step

# In the middle of four columns, on one, and between: no column nearer than half a diagonal to the
# first.
PLACES = ((0.0, 0.0), (0.5, 0.5), (0.2, -0.35))


def drilled(stock: Stock, x: float, y: float, radius: float, z: float) -> Stock:
    ends = np.array([[x, y, 20.0]]), np.array([[x, y, z]])
    stock.cut(*ends, np.zeros(1, dtype=np.int64), 1, Underside(radius, 0.0, radius))
    return stock


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("radius", [0.8, 1.0, 1.2, 1.4, 3.0])
def test_a_hole_is_open_where_it_was_cut_and_nowhere_else(place, radius: float):
    """Uncut, and cut down to 1 of wood, it is not open; below the bed it is. Of radii from 1.0 to
    1.4 no column was looked at, and all were open."""
    for z, is_so in ((None, False), (1.0, False), (-1.0, True)):
        stock = Stock(30, 20, 12, 1.0)
        if z is not None:
            drilled(stock, *place, radius, z)
        assert is_open(stock, *place, radius) is is_so


def test_a_hole_cut_too_narrow_or_aside_is_not_open():
    """Of 5 wanted a ring of 0.3 is left, or a crescent of 0.4: about 7 and 3 mm² without the 0.05
    beside the wall, where a column has 0.25."""
    assert math.pi * (4.95**2 - 4.7**2) > 7.0
    assert not is_open(drilled(Stock(30, 20, 12, 0.5), 0.1, 0.2, 4.7, -1.0), 0.1, 0.2, 5.0)
    assert not is_open(drilled(Stock(30, 20, 12, 0.5), 0.5, 0.2, 5.0, -1.0), 0.1, 0.2, 5.0)


def test_between_the_columns_a_narrow_hole_counts_as_open():
    """0.5 about the middle of four columns 1 apart, 0.71 away: they tell nothing of it; on columns
    0.5 apart, 0.35 away, they do."""
    assert is_open(Stock(30, 20, 12, 1.0), 0.0, 0.0, 0.5)
    assert not is_open(Stock(30, 20, 12, 0.5), 0.0, 0.0, 0.5)


def ring(x: float, y: float, radius: float) -> np.ndarray:
    """Places of a full turn in 720 chords about (x, y), whose middles stand 0.00001 of the radius
    nearer to it."""
    turn = np.linspace(0.0, 2.0 * math.pi, 721)
    return np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn), 2.0 + 0.0 * turn])


def test_holes_with_the_same_motions_are_measured_once_and_one_that_differs_by_itself():
    """By a cutter of 10 round 2.0 the bore is 14.0 wide, wherever it lies. The third of four has
    turns of 1.97: 13.94, told as too narrow, though its first motion is like the others'."""
    turns = [ring(10.4 * k, 0.1 * k, 1.97 if k == 2 else 2.0) for k in range(4)]
    holes = tuple(Hole(f"H{k}", 10.4 * k, 0.1 * k, 5.0, (Step(14.0, 2.0),)) for k in range(4))
    pieces = Pieces(
        np.concatenate([turn[:-1] for turn in turns]),
        np.concatenate([turn[1:] for turn in turns]),
        np.arange(4 * 720),
    )
    path = SimpleNamespace(
        pieces=pieces, cutter=SimpleNamespace(radius=5.0), line=np.arange(4 * 720),
        line_near=lambda x, y: 1,
    )  # fmt: skip
    measures, findings = MeasureList("f.nc"), Findings("f.nc")
    stock = Stock(80, 40, 5, 0.5)
    check_holes(holes, Inspection(path, stock, stock.top, Allowed(), measures, findings))  # type: ignore[arg-type]
    wide = {one.id: one.value for one in measures if one.id.endswith("diameter")}
    for k in range(4):
        assert wide[f"H{k} hole diameter"] == pytest.approx(13.94 if k == 2 else 14.0, abs=0.004)
    assert [one.message[:2] for one in findings if one.kind == "seat"] == ["H2"]
