"""Planing proud resin off: what it needs and what it costs."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, box

from corepath.stackup.linear import Linear
from corepath.stackup.pour.flush import ALLOWANCE, flush_area, flush_face, flush_local, flush_parts

THICK = 13.6
FLOOR = 1.2
NAMES = (
    "thickness",
    "lying flat in A",
    "touch for flush",
    "machine in flush",
    "touch for groove",
    "machine in groove",
    "bed",
)


def raw_top() -> Linear:
    return THICK + Linear.term("thickness", 0.10) + Linear.gap("lying flat in A", 0.10)


def reached(operation: str) -> Linear:
    errors = Linear.term(f"touch for {operation}", 0.05) + Linear.term(
        f"machine in {operation}", 0.03
    )
    return errors - Linear.term("bed", 0.05)


def drawn(value: Linear, shares: dict[str, float]) -> float:
    """The value with each contributor at its share (0 to 1) of the way from its low to its high
    end."""
    return value.nominal + sum(
        part.sensitivity * (part.low + shares[name] * (part.high - part.low))
        for name, part in value.parts.items()
    )


def test_face_flush_by_hand():
    """13.6 - 0.10 (thickness) - 0.13 (touch, machine, bed) - 0.05 allowance = 13.32; it costs 0.28
    of window."""
    flush = flush_face(raw_top(), reached("flush"))
    assert flush.plane == pytest.approx(13.32)
    assert flush.costs(raw_top()).nominal == pytest.approx(0.28)


def test_face_flush_replaces_the_raw_top():
    """D = F - f: the bed cancels, thickness and gap no longer matter; ± 0.16 of two touches and two
    positions."""
    flush = flush_face(raw_top(), reached("flush"))
    depth = flush.depth(FLOOR + reached("groove"))
    assert depth.nominal == pytest.approx(12.12)
    low, high = depth.worst()
    assert (high - low) / 2 == pytest.approx(0.16)
    assert not {"thickness", "lying flat in A"} & set(depth.parts)


def test_a_blank_taken_off_in_between_may_lie_otherwise():
    """The two gaps are two errors: each of up to 0.1, one for and one against the depth."""
    flush = flush_face(raw_top(), reached("flush"))
    first, now = Linear.gap("lying flat in A", 0.10), Linear.gap("lying flat in A again", 0.10)
    depth = flush.depth(FLOOR + reached("groove"), first, now)
    assert depth.nominal == pytest.approx(12.12)
    assert depth.worst() == pytest.approx((12.12 - 0.26, 12.12 + 0.26))


@settings(max_examples=80, derandomize=True, deadline=None)
@given(shares=st.fixed_dictionaries({name: st.floats(0, 1) for name in NAMES}))
def test_the_plane_cleans_the_whole_face(shares):
    """Whatever the errors, some of the raw top is planed off: nothing of it is left standing, nor
    any proud resin."""
    face = flush_face(raw_top(), reached("flush"))
    local = flush_local("P1a", raw_top(), reached("flush"), beyond=6.0)
    for flush in (face, local):
        assert drawn(flush.top, shares) <= drawn(raw_top(), shares) - ALLOWANCE + 1e-9


def test_resin_after_a_face_flush():
    """Proud resin ends at the plane; resin 1.0 low is low by 0.28 less; and it never comes out
    proud."""
    flush = flush_face(raw_top(), reached("flush"))
    assert flush.resin_low(Linear.of(-0.3), raw_top()).worst() == (0.0, 0.0)
    assert flush.resin_low(Linear.of(1.0), raw_top()).nominal == pytest.approx(0.72)
    little = flush.resin_low(Linear.of(0.2), raw_top())
    assert little.nominal == 0.0
    assert little.worst()[1] > 0


def test_local_flush_leaves_a_dip():
    """The dip is the resin's p where it stood higher, and costs clean-up over the band; low resin
    stays as it was."""
    flush = flush_local("P1a", raw_top(), reached("flush"), beyond=6.0)
    dip = flush.dip(raw_top())
    assert dip.nominal == pytest.approx(0.28)
    assert flush.resin_low(Linear.of(-0.3), raw_top()) == dip
    low = Linear.of(1.2)
    assert flush.resin_low(low, raw_top()) is low
    assert flush.clean_up(Linear.of(0.9), raw_top()).nominal == pytest.approx(0.62)


def test_local_flush_reaches_past_the_dam():
    """What is planed holds the casting and a band of the width asked for, and no more."""
    plug = Point(20, -7).buffer(9.0, quad_segs=64)
    area = flush_area(plug, 6.0)
    assert area.contains(plug)
    assert area.hausdorff_distance(plug) == pytest.approx(6.0, abs=0.01)
    ring = box(-50, -20, 50, 20).difference(box(-42, -12, 42, 12))
    assert len(flush_area(ring, 6.0).interiors) == 1


def test_bands_that_meet_in_a_neck_or_round_an_islet_are_cleared_one_by_one() -> None:
    """Check passed and no path was found: the band of a plug met the groove's in a neck of 4, a
    cutter of 8 wide."""
    left, right = shapely.Point(0, 0).buffer(20.0, 64), shapely.Point(39.9, 0).buffer(20.0, 64)
    assert isinstance(shapely.union(left, right).buffer(-4.0), shapely.MultiPolygon)
    assert flush_parts([left, right], 4.0) == [left, right]
    wide = shapely.Point(30.0, 0).buffer(20.0, 64)
    assert flush_parts([left, wide, right], 4.0) == [shapely.union_all([left, wide, right])]
    ring = shapely.Point(0, 0).buffer(60.0, 64).difference(shapely.Point(0, 0).buffer(40.0, 64))
    assert flush_parts([ring], 9.0) == [ring]


def test_wood_left_in_two_places_is_gone_round_one_by_one() -> None:
    """A row of plugs right across a board: the ring of the groove has one island, with the plugs in
    it two."""
    ring = shapely.box(-100, -40, 100, 40).difference(shapely.box(-85, -25, 85, 25))
    row = [shapely.Point(0, y).buffer(14.0, 64) for y in (-16.0, 0.0, 16.0)]
    within = shapely.Point(0, -32).buffer(5.0, 64)
    assert len(shapely.union_all([ring, *row]).interiors) == 2
    parts = flush_parts([within, *row, ring], 4.0)
    assert parts[0] == ring and len(parts) == 4
    assert shapely.union_all(parts).equals(shapely.union_all([ring, *row]))


def test_a_band_that_no_cutter_follows_is_closed() -> None:
    """Planed as well: a slit of 2 across the band, and the islet in it; but for the rounded mouths
    of the slit."""
    slit = shapely.box(-30, -30, 30, 30).difference(
        shapely.box(-1, -31, 1, 31).difference(shapely.box(-2, -2, 2, 2))
    )
    assert isinstance(slit.buffer(-4.0), shapely.MultiPolygon)
    (closed,) = flush_parts([slit], 4.0)
    assert closed.area == pytest.approx(3600.0, abs=1.0) and not closed.interiors
