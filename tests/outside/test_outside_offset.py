"""The cutter's offset surface against grey dilation of `scipy.ndimage`, within what a lattice must
miss.

Dilation looks for the contact at nodes `s` apart alone, so it lies below the true height, by at
most:

* flat, and the land of a bull: the contact may be on the rim. Half a cell's diagonal further in
  lies a place whose nearest node is under the cutter and at most s·√2 from the contact: g·s·√2 +
  b·s², with g the steepest slope and b the largest curvature of the ground.
* ball: the contact lies inside, and a node within s/√2 of it. There the ball falls away from the
  ground by at most half the curvature of both times s²/2; the ball's is (1 + m²)^1.5 / r where its
  own slope is m.

Derived here from Taylor's formula; no source needed.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import grey_dilation

from corepath.board.deck.surface import DeckSurface
from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.motion.cutter import Cutter
from corepath.operations.deck.drop_cutter import DropCutter

SAMPLE = Path(__file__).parents[2] / "samples" / "balance-740.toml"
STEP = 0.5


@pytest.fixture(scope="module")
def deck() -> DeckSurface:
    return build_board(load_job(SAMPLE), SAMPLE.parent).deck


@pytest.mark.whole
@pytest.mark.parametrize(
    ("shape", "diameter", "corner"),
    [
        ("flat", 8.0, 0.0),
        ("flat", 20.0, 0.0),
        ("bull", 16.0, 3.0),
        ("ball", 12.0, 6.0),
        ("ball", 20.0, 10.0),
    ],
)
def test_offset_and_grey_dilation_agree_within_the_lattice(
    deck: DeckSurface, shape: str, diameter: float, corner: float
) -> None:
    """A contact that is missed shows as a tip lower than the dilation, one made up as higher than
    it can be."""
    cutter = Cutter(1, shape, diameter, corner, 2, 30.0, 40.0)
    xs, ys = np.arange(-370.0, -150.0, STEP), np.arange(-130.0, 60.0, STEP)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    offset = DropCutter(deck, cutter)
    tip = offset.tip(x, y)
    ground = deck.height(x, y)

    reach = int(diameter / 2 / STEP)
    along = np.arange(-reach, reach + 1) * STEP
    away = np.hypot(along[:, None], along[None, :])
    out = np.clip(away - (diameter / 2 - corner), 0.0, corner)
    rise = corner - np.sqrt(corner**2 - out**2)
    dilated = grey_dilation(ground, footprint=away <= diameter / 2, structure=-rise, mode="nearest")

    inner = (slice(reach + 1, -reach - 1),) * 2
    above = (tip - dilated)[inner]
    slope = float(np.hypot(*deck.gradient(x, y)).max())
    bend = max(float(np.abs(second).max()) for second in deck.hessian(x, y)) * 2.0
    if shape == "ball":
        sine = math.sin(math.atan(slope)) + STEP / math.sqrt(2.0) / corner
        steepest = sine / math.sqrt(1.0 - sine**2)
        bound = 0.5 * (bend + (1.0 + steepest**2) ** 1.5 / corner) * STEP**2 / 2.0
    else:
        bound = slope * STEP * math.sqrt(2.0) + bend * STEP**2
    assert above.min() > -0.002
    assert above.max() <= bound
    assert above.max() > 0.05 * bound, "a bound far above what is found tells nothing"
