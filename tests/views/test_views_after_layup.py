"""Drawings of set-up D: the board is drawn where it lies, curved, not as the flat core."""

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from corepath.layup.laid import laid_up
from corepath.planning.prepare import Prepared, prepare
from corepath.views.drawings.cradle_section import laid_slice
from corepath.views.drawings.drawing import operation_drawing
from corepath.views.drawings.scene import DrawnPlan, Scene

SAMPLE = Path(__file__).parents[2] / "samples" / "cradle-460.toml"


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(SAMPLE)


def test_section_follows_the_rocker(prepared: Prepared):
    """Its lower edge is the form, and what is cut of it lies where the work has it."""
    scene = Scene(prepared.job, prepared.board, prepared.stackup, "D")
    laid = laid_up(prepared.job, prepared.board)
    trim, bolts = (work for work in prepared.works if work.setup == "D")
    cut = laid_slice(scene, trim, 0.0)
    # the cradle carries it all along, and nothing of the blank lies in it
    assert cut.stand.intersection(cut.wood).area < 0.01
    assert cut.stand.touches(cut.wood) or cut.stand.distance(cut.wood) < 0.01
    assert cut.high == pytest.approx(float(laid.top(laid.ends[1], 0.0)), abs=0.05)
    left, _, right, _ = cut.removed.bounds
    assert left == pytest.approx(trim.trim.area.bounds[0] - 2 * trim.cutter.radius, abs=0.05)
    assert right == pytest.approx(trim.trim.area.bounds[2] + 2 * trim.cutter.radius, abs=0.05)
    hole = bolts.holes[0]
    through = laid_slice(scene, bolts, hole.y).removed
    assert through.covers(type(through.centroid)(hole.x, hole.top - 1.0))


def test_plugs_are_drawn_under_their_holes(prepared: Prepared):
    """The nose rises, so that its dowel lies nearer to the middle; plug and hole move together."""
    scene = Scene(prepared.job, prepared.board, prepared.stackup, "D")
    bolts = next(work for work in prepared.works if work.name == "bolt-holes")
    hole = next(hole for hole in bolts.holes if hole.id == "P1")
    plug = next(c.area for c in prepared.board.castings if c.id == "P1")
    seen = scene.seen(plug).envelope.centroid
    assert 228.0 - scene.at(228.0, 0.0)[0] > 0.2
    assert np.hypot(seen.x - hole.x, seen.y - hole.y) < 0.05


def test_drawing_names_the_cradle(prepared: Prepared):
    for work in (work for work in prepared.works if work.setup == "D"):
        plan = DrawnPlan(
            prepared.job, prepared.board, prepared.stackup, prepared.works, prepared.digest
        )
        text = operation_drawing(plan, work)
        ET.fromstring(text)
        assert "over the rise 0 of the form" in text and 'id="section-cradle"' in text
        # the lowest of the form, rise 0, stands 45 above the bed
        assert "bed under the cradle lies 45.00 below rise 0" in text
        assert "above the bed" not in text.replace("45.00 above the bed that the cradle", "")
