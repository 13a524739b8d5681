"""Figures of the package and its samples against published ones; each names its source."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from corepath.job.model import CastSection
from corepath.job.tables.builtin import woods
from corepath.stackup.linear import Linear
from corepath.stackup.pour.mixing import parts

SAMPLES = sorted((Path(__file__).parents[2] / "samples").glob("*.toml"))

# ISO 273 clearance holes fine, medium, coarse (from memory; agrees with published copies of the
# table).
ISO_273 = {
    "M4": (4.3, 4.5, 4.8),
    "M5": (5.3, 5.5, 5.8),
    "M6": (6.4, 6.6, 7.0),
    "M8": (8.4, 9.0, 10.0),
}


def test_tolerance_stack_of_a_published_example() -> None:
    """40.00 ± .10 less 25.00 ± .05, 2.00 ± .03 and 10.00 ± .05 leaves 3.00 ± 0.23 worst case.

    Data and worst case: metricmech.com/articles/tolerance-stackup-worked-example.html; the root of
    the sum of squares, ± 0.1261, is arithmetic on them.
    """
    gap = Linear.of(40.0) + Linear.term("box", 0.10)
    for name, size, tolerance in (("part", 25.0, 0.05), ("washer", 2.0, 0.03), ("cap", 10.0, 0.05)):
        gap = gap - Linear.of(size) - Linear.term(name, tolerance)
    assert gap.nominal == pytest.approx(3.0)
    assert gap.worst() == pytest.approx((3.0 - 0.23, 3.0 + 0.23), abs=1e-9)
    assert gap.rss() == pytest.approx((3.0 - 0.1261, 3.0 + 0.1261), abs=5e-5)


def test_ten_equal_parts() -> None:
    """Ten parts ± 0.1: worst case ± 1.0, root sum square ± 0.3162 (arithmetic: sqrt 10 times
    0.1)."""
    total = Linear.of(0.0)
    for k in range(10):
        total = total + Linear.term(f"part {k}", 0.1)
    assert total.worst() == pytest.approx((-1.0, 1.0))
    assert total.rss() == pytest.approx((-0.31623, 0.31623), abs=1e-5)


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_bolt_holes_of_the_samples_are_clearance_holes(sample: Path) -> None:
    """A hole that no series of ISO 273 has is a slip of the pen, or fits no bolt."""
    job = tomllib.loads(sample.read_text(encoding="utf-8"))
    scale = 25.4 if job.get("units") == "inch" else 1.0
    known = [size for series in ISO_273.values() for size in series]
    for plug in job["plug"]:
        assert any(abs(plug["bolt_hole"] * scale - size) < 0.005 for size in known), plug


def test_samples_are_found() -> None:
    """An empty folder would let the test of the bolt holes pass unseen."""
    assert len(SAMPLES) >= 3


def test_movement_across_the_grain() -> None:
    """420 mm of flat-sawn yellow-poplar move 2.43 mm for 2 % of moisture content.

    Wood Handbook (USDA, FPL-GTR-190, 2010), eq. 13-2, with 8.2 % tangential shrinkage of table 4-3
    read in a copy: coefficient 0.00289 by calculation.
    """
    assert 420.0 * woods()["yellow-poplar"].across("flat") * 2.0 == pytest.approx(2.43, abs=0.01)


def test_masses_of_a_pour() -> None:
    """1400 x 6 x 4 mm is 33.6 cm³; at 1.05 g/cm³ 35.28 g, with a tenth extra 38.81 g (arithmetic).

    100 : 90 by weight of densities 1.00 and 1.20: mixed density (a+b)/(a/da + b/db) = 1.0857 (ideal
    mixing).
    """
    same = parts(33.6, CastSection(density=(1.05, 1.05), extra=0.10))
    assert same.total_g == pytest.approx(38.81, abs=0.005)
    mixed = parts(1.0, CastSection(ratio=(100.0, 90.0), density=(1.00, 1.20), extra=0.0))
    assert mixed.total_g == pytest.approx(1.0857, abs=1e-4)
    assert mixed.b_g / mixed.a_g == pytest.approx(0.9)
