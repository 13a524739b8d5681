"""Masses of the resin's parts."""

import pytest

from corepath.job.model import CastSection
from corepath.stackup.pour import mix


def test_groove_by_hand():
    """1400 x 6 x 4 mm = 33.6 cm³ at 1.05 g/cm³ is 35.28 g, with a tenth extra 38.81 g (arithmetic)."""
    cast = CastSection(ratio=(1.0, 1.0), density=(1.05,), extra=0.10)
    assert mix(33.6, cast)["total_g"] == pytest.approx(38.808, abs=1e-3)
    assert mix(33.6, cast)["part_a_g"] == pytest.approx(19.404, abs=1e-3)


def test_by_weight_with_two_densities():
    """100 : 90 by weight of 1.00 and 1.20: mixed density 190 / 175 = 1.0857 (arithmetic)."""
    cast = CastSection(ratio=(100.0, 90.0), density=(1.00, 1.20), extra=0.0)
    masses = mix(10.0, cast)
    assert masses["total_g"] == pytest.approx(10.857, abs=1e-3)
    assert masses["part_b_g"] / masses["part_a_g"] == pytest.approx(0.9)


def test_by_volume():
    """1 : 1 by volume of 1.00 and 1.15 is 100 : 115 by weight (arithmetic)."""
    cast = CastSection(ratio=(1.0, 1.0), ratio_by="volume", density=(1.00, 1.15), extra=0.0)
    masses = mix(10.0, cast)
    assert masses["part_b_g"] / masses["part_a_g"] == pytest.approx(1.15)
    assert masses["total_g"] == pytest.approx(10.75)
