"""Holes against what is published or can be worked out on paper.

Clearance holes: ISO 273:1979, table (from memory). Counterbores for socket head screws: DIN 974-1,
row 1, for heads by ISO 4762 (from memory). Order of the motions of cycles: NIST IR 6556 (2000),
3.5.16.4 (its example of G81) and the text of G83. Helix, slope and volume: closed forms of
geometry.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from shapely import LineString, box

from corepath.job.tables.builtin import threads
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.cycles import expand
from corepath.motion.fit import flatten
from corepath.motion.program import Kind, Program, Zero, drill, line, rapid
from corepath.operations import programs
from corepath.stock.contact_kernels import underside_of
from corepath.stock.material import Stock
from corepath.work.works import Hole, Milling, Step, Work

TOP = 12.0

ISO_273 = {
    "M3": (3.2, 3.4, 3.6), "M4": (4.3, 4.5, 4.8), "M5": (5.3, 5.5, 5.8), "M6": (6.4, 6.6, 7.0),
    "M8": (8.4, 9.0, 10.0),
}  # fmt: skip
# head ISO 4762, counterbore
DIN_974 = {"M4": (7.0, 8.0), "M5": (8.5, 10.0), "M6": (10.0, 11.0), "M8": (13.0, 15.0)}


def made(hole: Hole, diameter: float = 3.0, angle: float = 3.0, **milling: object) -> Program:
    cutter = Cutter(1, "flat", diameter, 0.0, 2, 30.0, 35.0, ramp_angle=angle)
    cutting = Cutting(
        rpm=18000, feed=3000, ramp=1500, plunge=1000, depth=diameter / 2, stepover=0.4 * diameter
    )
    work = Work(
        order=6, setup="B", name="inserts", cutter=cutter, cutting=cutting, zero=Zero(0, 0, 0,
            "bed", True),
        blank=box(-15, -15, 15, 15), stock_top=TOP, clear=20.0, lowest=-1.0, park=(0.0, 0.0),
            arcs=True,
        milling=Milling(**milling), holes=(hole,),
    )  # fmt: skip
    return programs(work)[0]


def points(program: Program, tolerance: float = 0.0005) -> list[tuple[Kind, np.ndarray]]:
    return [
        (move.kind, flatten((before.x, before.y, before.z), move, tolerance))
        for before, move in itertools.pairwise(program.moves)
    ]


def test_clearance_holes_are_those_of_iso_273() -> None:
    """A bolt hole judged by a wrong table."""
    for thread, sizes in ISO_273.items():
        assert threads()[thread][1:4] == sizes
        assert threads()[thread].nominal == float(thread[1:])


@pytest.mark.parametrize("thread", DIN_974)
def test_counterbore_of_a_socket_head_has_the_sizes_of_the_tables(thread: str) -> None:
    """Seat and bore of a part whose sizes are published: head and clearance give the counterbore of
    DIN 974-1."""
    head, counterbore = DIN_974[thread]
    medium = ISO_273[thread][1]
    clearance = counterbore - head
    hole = Hole("H", 1.0, -2.0, TOP, (Step(head + clearance, 7.0, spring=True), Step(medium, 2.0)))
    program = made(hole)
    for step, size in zip(hole.steps, (counterbore, medium), strict=True):
        lines = [
            LineString(p[:, :2])
            for _, p in points(program)
            if p[:, 2].max() <= step.floor + 1e-9 and len(p) > 1
        ]
        swept = shapely.union_all([one.buffer(1.5, quad_segs=64) for one in lines if one.length])
        assert math.sqrt(4 * swept.area / math.pi) == pytest.approx(size, abs=2e-3)


@pytest.mark.parametrize("angle", [1.0, 3.0, 8.0])
def test_helix_has_the_slope_and_the_length_of_the_closed_form(angle: float) -> None:
    """tan a = P/(pi (D - d)); a helix that falls H at the angle a is H/sin a long."""
    step = Step(5.0, 4.0)
    program = made(Hole("H", 0.0, 0.0, TOP, (step,)), angle=angle, finish_allowance=0.0)
    falls = [p for kind, p in points(program) if kind is Kind.CCW and p[0, 2] > p[-1, 2] + 1e-9]
    height = sum(p[0, 2] - p[-1, 2] for p in falls)
    length = sum(float(np.sqrt((np.diff(p, axis=0) ** 2).sum(axis=1)).sum()) for p in falls)
    turns = sum(float(np.hypot(*np.diff(p[:, :2], axis=0).T).sum()) for p in falls) / (
        math.pi * (5.0 - 3.0)
    )
    pitch = height / turns
    slope = math.atan(pitch / (math.pi * (5.0 - 3.0)))
    assert slope <= math.radians(angle) * (1 + 1e-4), "steeper than the cutter bears"
    assert turns - height / (math.pi * 2.0 * math.tan(math.radians(angle))) < 1 / 3 + 1e-3, (
        "flatter than it need be"
    )
    assert length == pytest.approx(height / math.sin(slope), rel=1e-3)
    assert height == pytest.approx(TOP - 4.0 + 0.5, abs=1e-9)


def test_volume_of_seat_and_bore_is_that_of_two_cylinders() -> None:
    """pi/4 (D1² h1 + D2² h2), on a virtual blank whose columns are counted, not looked at."""
    hole = Hole("H", 0.3, 0.2, TOP, (Step(15.2, 10.5, spring=True), Step(6.7, 2.0)))
    program = made(hole)
    stock = Stock(30.0, 30.0, TOP, 0.1, None)
    before = np.maximum(stock.top, 0.0).sum(dtype=np.float64)
    for _, p in points(program):
        owner = np.zeros(len(p) - 1, dtype=np.int64)
        lower, upper = np.ascontiguousarray(p[:-1]), np.ascontiguousarray(p[1:])
        stock.cut(lower, upper, owner, 1, underside_of(program.cutter))
    removed = (
        (before - np.maximum(stock.top, 0.0).sum(dtype=np.float64)) * stock.grid.px * stock.grid.py
    )
    wanted = math.pi / 4 * (15.2**2 * 1.5 + 6.7**2 * 8.5)
    assert removed == pytest.approx(wanted, rel=2e-3)


def test_g81_runs_as_in_the_example_of_the_standard() -> None:
    """At (1, 2, 3), G90 G81 X4 Y5 Z1.5 R2.8: over at the height of the start, down to R, feed to Z,
    and out."""
    moves = list(expand([rapid(1, 2, 3), drill(4, 5, 1.5, 200, 2.8)]))[1:]
    assert moves == [rapid(4, 5, 3), rapid(4, 5, 2.8), line(4, 5, 1.5, 200), rapid(4, 5, 2.8)]


def test_g83_goes_down_by_q_and_out_to_r_each_time() -> None:
    """By Q or to Z, whichever is less deep; out to the safe height; down to the bottom backed off a
    bit; repeat."""
    moves = list(expand([rapid(0, 0, 1), drill(0, 0, -10, 200, 1, 4)]))[1:]
    feeds = [move.z for move in moves if move.kind is Kind.LINE]
    assert feeds == [-3, -7, -10]
    outs = [move for before, move in itertools.pairwise(moves) if before.kind is Kind.LINE]
    assert all(move == rapid(0, 0, 1) for move in outs) and len(outs) == 3
    backs = [move.z for before, move in itertools.pairwise(moves) if before == rapid(0, 0, 1)]
    # 0.010 inch: from memory of the interpreter's code
    assert backs == pytest.approx([-3 + 0.254, -7 + 0.254])
