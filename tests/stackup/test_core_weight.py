"""What a core weighs and where it balances, against plates that can be worked out by hand."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from shapely import Point, Polygon

from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.stackup import build_stackup
from corepath.stackup.core_weight import CoreWeight, core_weight

SAMPLES = Path(__file__).parents[2] / "samples"

MIXED = 190.0 / (100.0 / 1.05 + 90.0 / 1.22)
"""g/cm³ of 100 : 90 by weight of parts with these densities: the sum of masses over that of
volumes."""


def plate(thick_at_end: float) -> tuple[CoreWeight, Polygon]:
    """The coupon as a rectangle of 160 by 50 whose thickness goes in a straight line from 8 at its
    left end to this at its right, with its middle at X-2."""
    job = load_job(SAMPLES / "coupon.toml")
    corners = ((-82.0, -25.0), (78.0, -25.0), (78.0, 25.0), (-82.0, 25.0))
    outline = job.outline.model_copy(update={"stations": None, "points": corners})
    stations = tuple(
        (x, 8.0 + (x + 82.0) / 160.0 * (thick_at_end - 8.0)) for x in (-82.0, -2.0, 78.0)
    )
    # an edge band as wide as the board would be level: none at all is asked for here
    deck = job.deck.model_copy(
        update={"stations": stations, "edge_band": 0.1, "blend": 0.1, "smooth": 0.5}
    )
    board = job.board.model_copy(update={"thickness": 8.0, "edge_thickness": thick_at_end})
    job = job.model_copy(update={"outline": outline, "deck": deck, "board": board})
    made = build_board(job, SAMPLES)
    return core_weight(build_stackup(job, made), made), made.outline


def test_a_level_plate_weighs_its_area_times_its_thickness() -> None:
    """160 × 50 × 8: wood inside the groove's 6 mm less plug (D14), seat (D15.2 × 1.5) and bore
    (D6.7 above it); resin in a frame 6 wide and the plug. Basswood has 0.414 g/cm³."""
    found, _ = plate(8.0)
    plug, seat, bore = (math.pi / 4.0 * d * d for d in (14.0, 15.2, 6.7))
    frame = 160.0 * 50.0 - 148.0 * 38.0
    wood = (148.0 * 38.0 - plug) * 8.0 - seat * 1.5 - bore * 6.5
    resin = (frame + plug) * 8.0
    assert found.wood_cm3 == pytest.approx(wood / 1000.0, rel=1e-3)
    assert found.resin_cm3 == pytest.approx(resin / 1000.0, rel=1e-3)
    assert found.wood_g == pytest.approx(0.414 * wood / 1000.0, rel=1e-3)
    # it shrinks by 0.5 % each way as it cures, and keeps its mass
    assert found.resin_g == pytest.approx(MIXED / 0.995**3 * resin / 1000.0, rel=2e-3)
    assert found.total_g == found.wood_g + found.resin_g
    # plug of resin at (-66, 7), hole at (34, -5), both off the plate's middle
    extra = plug * 8.0 * (MIXED / 0.995**3 - 0.414)
    hole = 0.414 * (seat * 1.5 + bore * 6.5)
    mass = 1000.0 * found.total_g
    x = (extra * -64.0 - hole * 36.0) / mass
    y = (extra * 7.0 + hole * 5.0) / mass
    assert found.beside_middle == pytest.approx(x, abs=0.02)
    assert found.at == pytest.approx((x - 2.0, y), abs=0.02)


def test_a_wedge_balances_towards_its_thick_end() -> None:
    """A wedge from 8 to 4 of uniform stuff balances at (L/3)(8 + 2·4)/(8 + 4) = 4/9 of its length
    from the thick end, 8.9 before its middle; frame, plug and hole move that a little."""
    found, outline = plate(4.0)
    assert found.beside_middle == pytest.approx(-160.0 * (0.5 - 4.0 / 9.0), abs=2.5)
    assert found.message().startswith(f"about {found.total_g:.0f} g: wood {found.wood_g:.0f} g")
    assert f"{abs(found.beside_middle):.0f} mm towards X- from its middle" in found.balances()
    assert outline.contains(Point(found.at))
