"""Which columns tell that a deck is too low."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from shapely import box

from corepath.gcode.read.findings import Findings
from corepath.readback.judging import measure_deck
from corepath.readback.simulation_setup import Allowed
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.contact_kernels import Underside
from corepath.stock.material import Stock
from corepath.work.works import Deck, Hole, Step

RADIUS = math.hypot(1.5, 2.5)
"""From the middle of the hole to the column at (1.5, 2.5), which then stands just on its wall."""


def found(at: tuple[float, float], *behind: Any) -> list[float]:
    """Depths of the findings of a level deck at 12, one column of which stands at 0.33 only."""
    stock = Stock(30, 20, 12, 1.0)
    ends = np.array([[*at, 20.0]]), np.array([[*at, 0.33]])
    stock.cut(*ends, np.zeros(1, dtype=np.int64), 1, Underside(0.3, 0.0, 0.3))
    level = np.full((stock.grid.ny, stock.grid.nx), 12.0, dtype=np.float32)
    work = SimpleNamespace(deck=Deck(box(-15, -10, 15, 10), None, 12.0, 0.05, 0.02, 0.0))
    done = SimpleNamespace(
        path=SimpleNamespace(line_near=lambda *_: 1),
        stock=stock,
        allowed=Allowed(),
        measures=MeasureList("08-C-deck.nc"),
        findings=Findings("08-C-deck.nc"),
    )
    measure_deck(work, done, level, behind)  # type: ignore[arg-type]
    return [one.depth for one in done.findings if one.kind == "deck-height"]


def drilled(setup: str) -> Any:
    return SimpleNamespace(
        setup=setup, holes=(Hole("D1", 0.0, 0.0, 12.0, (Step(2 * RADIUS, -5.5),)),)
    )


def test_a_column_on_the_wall_of_a_dowels_hole_counts_as_deck():
    """A turn of chords cut it at one height and passed beside it at the next: it stood at 0.33
    between, and the plan of a drawn job was withheld for a deck 3.17 too low."""
    assert found((1.5, 2.5), drilled("A")) == []
    # The same column without such a hole is a deck that is 11.67 too low; so is one of another
    # set-up's hole, which is cut from below.
    assert found((1.5, 2.5)) == pytest.approx([11.67], abs=1e-5)
    assert found((1.5, 2.5), drilled("B")) == pytest.approx([11.67], abs=1e-5)


@pytest.mark.parametrize("at", [(2.5, 2.5), (1.5, 1.5), (-3.5, 0.5)])
def test_a_column_beside_that_wall_is_passed_over(at):
    """0.62 and 0.79 off the wall, and 0.62 on another side."""
    assert found(at, drilled("A")) == pytest.approx([11.67], abs=1e-5)
