"""Movement of the wood and the plane through measured places, against published worked examples.

Sources: Wood Handbook (USDA Forest Products Laboratory, General Technical Report FPL-GTR-190,
2010), chapter 13, equation 13-2, change = size x coefficient x change of moisture, with the
coefficients of table 13-5 and the two worked examples beside it (the examples from memory; each
agrees with its own arithmetic). Girth, height and volume of 31 black cherry trees (Ryan, Joiner and
Ryan, Minitab Student Handbook, 1976) with the fitted plane as statistics packages print it in their
documentation (from memory; the figures reproduce it to every digit).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import linalg

from corepath.job.tables.builtin import Wood, woods
from corepath.planning.prepare import Prepared, prepare
from corepath.stackup.checks.registration import registered
from corepath.stackup.measuring.fitting import Bending, fit

SAMPLES = Path(__file__).parents[2] / "samples"

TABLE_13_5 = [
    ("basswood", "quarter", 0.00230),
    ("basswood", "flat", 0.00330),
    ("quaking-aspen", "quarter", 0.00119),
    ("quaking-aspen", "flat", 0.00234),
]

GIRTH = [
    8.3, 8.6, 8.8, 10.5, 10.7, 10.8, 11.0, 11.0, 11.1, 11.2, 11.3, 11.4, 11.4, 11.7, 12.0, 12.9,
    12.9, 13.3, 13.7, 13.8, 14.0, 14.2, 14.5, 16.0, 16.3, 17.3, 17.5, 17.9, 18.0, 18.0, 20.6,
]  # fmt: skip
HEIGHT = [
    70, 65, 63, 72, 81, 83, 66, 75, 80, 75, 79, 76, 76, 69, 75, 74,
    85, 86, 71, 64, 78, 80, 74, 72, 77, 81, 82, 80, 80, 80, 87,
]  # fmt: skip
VOLUME = [
    10.3, 10.3, 10.2, 16.4, 18.8, 19.7, 15.6, 18.2, 22.6, 19.9, 24.2, 21.0, 21.4, 21.3, 19.1, 22.2,
    33.8, 27.4, 25.7, 24.9, 34.5, 31.7, 36.3, 38.3, 42.6, 55.4, 55.7, 58.3, 51.5, 51.0, 77.0,
]  # fmt: skip


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(SAMPLES / "board-1280.toml")


def moved_per_mm(prepared: Prepared, wood: str, grain: str, change: float) -> list[float]:
    """Movement of the edge and of each plug and seat off the dowels' line, over its distance from
    that line."""
    tolerances = prepared.job.tolerances.model_copy(update={"moisture": change})
    blank = prepared.job.blank.model_copy(update={"wood": wood, "grain": grain})
    job = prepared.job.model_copy(update={"tolerances": tolerances, "blank": blank})
    board = prepared.board
    line = sum(dowel.at[1] for dowel in board.dowels) / len(board.dowels)
    low, high = board.outline.bounds[1::2]
    distance = {"groove": max(abs(low - line), abs(high - line))}
    distance |= {
        casting.id: abs(casting.area.centroid.y - line)
        for casting in board.castings
        if casting.plug
    }
    distance |= {place.id: abs(place.y - line) for place in board.places}
    things = registered(replace(prepared.stackup, job=job), board)
    return [
        thing.left.parts["moisture"].extremes[1] / distance[thing.id]
        for thing in things
        if distance[thing.id] > 1.0
    ]


@pytest.mark.parametrize(("wood", "grain", "coefficient"), TABLE_13_5)
def test_wood_moves_by_table_13_5(
    prepared: Prepared, wood: str, grain: str, coefficient: float
) -> None:
    """Radial and tangential swapped, per cent taken as a share, or half the distance would each
    show here."""
    moved = moved_per_mm(prepared, wood, grain, 2.0)
    assert len(moved) > 4
    assert moved == pytest.approx([2.0 * coefficient] * len(moved), rel=1e-6)


@pytest.mark.parametrize(
    ("grain", "coefficient", "change"),
    [("quarter", 0.00165, 1.15), ("flat", 0.00245, 1.705)],
    ids=["sugar maple, quarter-sawn", "white fir, flat-sawn"],
)
def test_worked_examples_of_the_handbook(
    prepared: Prepared,
    monkeypatch: pytest.MonkeyPatch,
    grain: str,
    coefficient: float,
    change: float,
) -> None:
    """A board 232 mm wide going from 8 to 11 % grows 1.15 mm (quarter-sawn maple) or 1.705 mm
    (flat-sawn fir)."""
    like = woods()["basswood"]
    figure = replace(like.radial, value=coefficient)
    other = replace(like.radial, value=9.0)
    across = (
        {"radial": figure, "tangential": other}
        if grain == "quarter"
        else {"radial": other, "tangential": figure}
    )
    table: dict[str, Wood] = {"example": replace(like, **across)}
    monkeypatch.setattr("corepath.stackup.checks.registration.woods", lambda: table)
    for moved in moved_per_mm(prepared, "example", grain, 11.0 - 8.0):
        assert 232.0 * moved == pytest.approx(change, abs=0.005)


def test_plane_of_the_cherry_trees() -> None:
    """Volume = -57.9877 + 4.7082 girth + 0.3393 height, residual standard error 3.882 on 28 degrees
    of freedom.

    A blank that is reckoned not to bend is a plane.
    """
    x, y, z = np.array(GIRTH), np.array(HEIGHT, dtype=float), np.array(VOLUME)
    plane = fit(x, y, z, 0.01, Bending(1.0, 1.0, size=0.0))._trend
    corner, along, across = plane.value(np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0]))
    assert corner == pytest.approx(-57.9877, abs=5e-5)
    assert along - corner == pytest.approx(4.7082, abs=5e-5)
    assert across - corner == pytest.approx(0.3393, abs=5e-5)
    rest = z - plane.value(x, y)
    assert np.sqrt((rest**2).sum() / 28) == pytest.approx(3.882, abs=5e-4)
    design = np.column_stack([np.ones(len(x)), x, y])
    found, *_ = linalg.lstsq(design, z, lapack_driver="gelsy")
    np.testing.assert_allclose(plane.value(x, y), design @ found, rtol=1e-9)
