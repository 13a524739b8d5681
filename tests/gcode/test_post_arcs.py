"""Arcs on the grid: radii agree, at most half a turn, and the written arc is the one that was
meant."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from corepath.gcode.write.arc_words import RADII_AGREE, Arc, ArcPiece, chords, pieces
from corepath.gcode.write.numbers import GRIDS

TICKS = pytest.mark.parametrize("mm", [grid.per_mm for grid in GRIDS.values()], ids=GRIDS.keys())

radii = st.floats(0.01, 3000.0)
angles = st.floats(-math.pi, math.pi)
sweeps = st.floats(1e-4, math.tau - 1e-4) | st.sampled_from(
    [math.pi, math.pi / 2, math.pi - 1e-9, math.pi + 1e-9]
)


def _arc(
    cx: float, cy: float, r: float, a: float, sweep: float, ccw: bool, mm: float
) -> tuple[Arc, list[ArcPiece], tuple[int, int]]:
    turn = sweep if ccw else -sweep
    start = (cx + r * math.cos(a)) * mm, (cy + r * math.sin(a)) * mm
    end = (cx + r * math.cos(a + turn)) * mm, (cy + r * math.sin(a + turn)) * mm
    if sweep == math.tau:
        end = start
    arc = Arc.between(start, end, cx * mm - start[0], cy * mm - start[1], ccw, mm)
    first = round(start[0]), round(start[1])
    return arc, pieces(arc, first, (round(end[0]), round(end[1])), mm), first


def _read(piece: ArcPiece, at: tuple[int, int], ccw: bool) -> tuple[float, float, float]:
    """Start radius, end radius and sweep of a written arc, as a reader has them."""
    ax, ay = -piece.i, -piece.j
    bx, by = piece.x - at[0] + ax, piece.y - at[1] + ay
    sweep = math.atan2(ax * by - ay * bx, ax * bx + ay * by) * (1.0 if ccw else -1.0)
    return math.hypot(ax, ay), math.hypot(bx, by), sweep % math.tau or math.tau


@TICKS
@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.floats(-700, 700), st.floats(-300, 300), radii, angles, sweeps, st.booleans())
def test_written_arc_is_the_arc_meant(
    mm: float, cx: float, cy: float, r: float, a: float, sweep: float, ccw: bool
) -> None:
    """Radii within a tenth of NIST IR 6556, 3.5.3.2, at most 180°, and the middle of each piece in
    its place."""
    assume(r * sweep > 0.002)
    arc, found, at = _arc(cx, cy, r, a, sweep, ccw, mm)
    before = 0.0
    for piece in found:
        if piece.i or piece.j:
            r0, r1, turned = _read(piece, at, ccw)
            assert abs(r0 - r1) <= RADII_AGREE
            assert turned <= math.pi + 1e-9
            x, y = at[0] + piece.i, at[1] + piece.j
            angle = math.atan2(-piece.j, -piece.i) + turned / 2.0 * (1.0 if ccw else -1.0)
            middle = x + r0 * math.cos(angle), y + r0 * math.sin(angle)
            assert math.dist(middle, arc.point((before + piece.share) / 2.0)) <= 4.0, (
                "a few last digits"
            )
        # Half of a full turn ends opposite its start, through the centre: two roundings of the
        # centre and one of the start, each of half a diagonal.
        within = 3.0 * math.sqrt(0.5) if arc.full else 1.5
        assert math.dist((piece.x, piece.y), arc.point(piece.share)) <= within
        before, at = piece.share, (piece.x, piece.y)
    assert before == 1.0


@TICKS
@settings(derandomize=True, max_examples=150, deadline=None)
@given(st.floats(-700, 700), st.floats(-300, 300), st.floats(0.01, 500.0), angles, st.booleans())
def test_full_circle_becomes_two_equal_halves(
    mm: float, cx: float, cy: float, r: float, a: float, ccw: bool
) -> None:
    """A full circle whose ends were rounded alone would have no length, or no centre."""
    _, found, at = _arc(cx, cy, r, a, math.tau, ccw, mm)
    assert len(found) == 2
    for piece in found:
        r0, r1, turned = _read(piece, at, ccw)
        assert r0 == r1
        assert turned == pytest.approx(math.pi)
        at = (piece.x, piece.y)


@TICKS
def test_most_arcs_stay_arcs(mm: float) -> None:
    """The nudge must make chords a rare way out, not the rule: arcs longer than 0.05 mm all stay
    arcs."""
    kinds = [
        piece.i or piece.j
        for k in range(2000)
        for piece in _arc(
            k * 0.37,
            -k * 0.11,
            0.1 + k * k * 0.0007,
            k * 0.77,
            0.05 + (k * 0.0137) % 6.2,
            k % 2 == 0,
            mm,
        )[1]
        if (0.1 + k * k * 0.0007) * (0.05 + (k * 0.0137) % 6.2) > 0.05
    ]
    assert all(kinds)


@TICKS
@settings(derandomize=True, max_examples=100, deadline=None)
@given(radii, angles, sweeps)
def test_chords_keep_within_their_error(mm: float, r: float, a: float, sweep: float) -> None:
    """Chord error R(1 - cos(th/2)) is at most 0.003 mm, the rounding of the ends included."""
    arc, _, at = _arc(1.0, 2.0, r, a, sweep, True, mm)
    end = arc.point(1.0)
    for piece in chords(arc, (round(end[0]), round(end[1])), mm):
        middle = (at[0] + piece.x) / 2.0, (at[1] + piece.y) / 2.0
        assert abs(math.dist(middle, (arc.cx, arc.cy)) - arc.r0) <= 0.003 * mm + 0.01
        at = (piece.x, piece.y)


def test_arc_between_different_radii_is_refused() -> None:
    """Such a move is a mistake of the path; written as it is, the machine would stop in the cut."""
    with pytest.raises(ValueError, match="radius"):
        Arc.between((0.0, 0.0), (20_000.0, 0.0), 9_000.0, 0.0, True, 1e4)
