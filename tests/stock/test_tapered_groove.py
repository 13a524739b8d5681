"""What a tapered ball leaves on the virtual blank: straight grooves against closed forms, and ramps
against a scan of the path.

Ball of radius 2, flank at 20 degrees: the cone begins at 2 cos 20° = 1.8793852 from the middle and
2 (1 - sin 20°) = 1.3159597 over the tip and rises cot 20° = 2.7474774 per mm (elementary geometry).
"""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from corepath.motion.cutter import Cutter
from corepath.operations.deck.deck_kernels import left_at, reaching
from corepath.stock.contact_kernels import underside_of
from corepath.stock.exact_kernels import sweep_points
from corepath.stock.material import Stock

FOUR = Cutter(4, "taper", 4.0, 0.0, 2, 25.0, 36.0, shank=12.0, taper_angle=20.0)
SEAM, BASE, STEEP = 1.8793852, 1.3159597, 2.7474774


def section(away: np.ndarray) -> np.ndarray:
    """Height over the tip, by hand."""
    ball = 2.0 - np.sqrt(np.maximum(4.0 - away**2, 0.0))
    return np.where(away > SEAM, BASE + (away - SEAM) * STEEP, ball)


def milled(points: list[tuple[float, float, float]], cell: float = 0.5) -> Stock:
    stock = Stock(40, 30, 12, cell)
    places = np.array(points, dtype=float)
    count = len(places) - 1
    owner = np.arange(count, dtype=np.int64)
    stock.cut(places[:-1], places[1:], owner, count, underside_of(FOUR))
    return stock


def scan(x: np.ndarray, y: np.ndarray, a: tuple[float, ...], b: tuple[float, ...]) -> np.ndarray:
    """The least of z(t) + height over the tip over 4,001 places of the way; 12 where unreached."""
    t = np.linspace(0.0, 1.0, 4001)
    d = np.hypot(a[0] + (b[0] - a[0]) * t - x[:, None], a[1] + (b[1] - a[1]) * t - y[:, None])
    over = np.where(d <= 6.0, a[2] + (b[2] - a[2]) * t + section(d), 12.0)
    return np.asarray(np.minimum(over.min(axis=1), 12.0))


def test_a_straight_groove_has_another_section_than_the_cutter() -> None:
    """5 deep: round in the middle, and its flanks up to 1.8793852 + (5 − 1.3159597) / 2.7474774 =
    3.2202754 on both sides; a plain ball would leave walls at 2."""
    stock = milled([(-15.0, 0.0, 7.0), (15.0, 0.0, 7.0)])
    column = stock.top[:, stock.grid.nx // 2].astype(float)
    away = np.abs(stock.grid.ys)
    wanted = np.where(away < 3.2202754, 7.0 + section(away), 12.0)
    assert column == pytest.approx(wanted, abs=1e-5)
    # the section's area: a segment of the ball and a trapezium, by the way it goes
    half = math.acos((2.0 - BASE) / 2.0)
    area = 4.0 * (half - math.sin(2.0 * half) / 2.0) + (SEAM + 3.2202754) * (5.0 - BASE)
    fine = milled([(-15.0, 0.0, 7.0), (15.0, 0.0, 7.0)], cell=0.05)
    removed = (12.0 - fine.top[:, fine.grid.nx // 2].astype(float)).sum() * fine.grid.py
    assert removed == pytest.approx(area, rel=2e-3)


@pytest.mark.parametrize(
    ("a", "b"),
    [((-8.0, -3.0, 5.0), (9.0, 4.0, 9.0)), ((9.0, 4.0, 5.0), (-8.0, 3.0, 10.5)),
     ((0.0, 0.0, 5.0), (1.5, 0.4, 11.0)), ((1.0, 2.0, 11.0), (1.0, 2.0, 6.0))],
    ids=["up", "steep", "steeper than its cone", "straight down"],
)  # fmt: skip
def test_a_ramp_leaves_more_or_less_than_the_cutter_reaches(
    a: tuple[float, ...], b: tuple[float, ...]
) -> None:
    """The read-back's columns and its loose points, and the planner's own sweep, against a scan."""
    stock = milled([a, b])  # type: ignore[list-item]
    x, y = (one.ravel() for one in np.meshgrid(stock.grid.xs, stock.grid.ys))
    inside = np.hypot(*_nearest(x, y, a, b)) < 5.9
    columns = stock.top.astype(float).ravel()[inside]
    x, y = x[inside], y[inside]
    wanted = scan(x, y, a, b)
    assert len(x) > 300 and columns == pytest.approx(wanted, abs=2e-3)
    left, by = np.full(len(x), 12.0), np.zeros(len(x), dtype=np.int64)
    first = np.array([0, len(x)], dtype=np.int64)
    sweep_points(
        x, y, first, -50.0, -50.0, 100.0, 1, 1, np.array([a]), np.array([b]), underside_of(FOUR),
        left, by, np.zeros(1, dtype=np.int64), np.ones(len(x), dtype=np.int64),
    )  # fmt: skip
    assert left == pytest.approx(wanted, abs=2e-3)
    path, frame = np.array([a, b]), np.array([-50.0, -50.0, 100.0, 1.0, 1.0])
    asked = np.column_stack([x, y, np.full(len(x), -np.inf)])
    planned = left_at(path, FOUR.profile, asked, frame, *reaching(path, FOUR.profile, frame))
    assert np.minimum(planned, 12.0) == pytest.approx(wanted, abs=2e-3)
    script = _script()
    end = script.end_of({"shape": "taper", "diameter": 4.0, "corner_radius": 0.0,
                         "taper_angle": 20.0, "cutting_length": 25.0, "shank": 12.0})  # fmt: skip
    told = np.minimum(script.lowest(x, y, np.array(a), np.array(b), *end), 12.0)
    assert told == pytest.approx(wanted, abs=2e-3)


def _nearest(
    x: np.ndarray, y: np.ndarray, a: tuple[float, ...], b: tuple[float, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """The way from the nearest place of the path to each column."""
    way = np.array(b[:2]) - np.array(a[:2])
    long = max(float(way @ way), 1e-12)
    t = np.clip(((x - a[0]) * way[0] + (y - a[1]) * way[1]) / long, 0.0, 1.0)
    return x - a[0] - t * way[0], y - a[1] - t * way[1]


def _script() -> ModuleType:
    path = Path(__file__).parents[2] / "docs" / "verify.py"
    spec = importlib.util.spec_from_file_location("verify_taper", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
