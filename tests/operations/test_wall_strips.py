"""Strips that the layers of a groove leave for one lap at full depth: when, how wide, how fast, and
that the read-back sees to them."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from shapely import Point, Polygon, box

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.job.tables.cutting_table import Energy
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Kind, Zero
from corepath.operations import programs
from corepath.readback.motion.working import check_working, find_engagement
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.material import Stock
from corepath.stock.path import lay
from corepath.work.cutting.loads import PlannedCut, load_of
from corepath.work.cutting.wall_strips import (
    NO_STRIPS,
    WallStrips,
    left_to_layers,
    strip_feed,
    wall_strips,
)
from corepath.work.works import Milling, Pocket, Work

TOP, FLOOR = 13.6, 1.2
FLAT = Cutter(1, "flat", 6.0, 0.0, 2, 22.0, 30.0)
CUTTING = Cutting(18000, 3000, 1500, 1000, 3.0, 2.4)


def ring(width: float, island: float = 30.0) -> Polygon:
    """A round groove of some width round an island of radius `island`."""
    return Point(0, 0).buffer(island + width, quad_segs=128).difference(
        Point(0, 0).buffer(island, quad_segs=128)
    )  # fmt: skip


def groove(area: Polygon, **more: object) -> Work:
    fields: dict[str, object] = {
        "order": 3, "setup": "A", "name": "groove", "cutter": FLAT, "cutting": CUTTING,
        "zero": Zero(0, 0, 0, "the bed", True), "blank": box(-60, -60, 60, 60),
        "stock_top": TOP, "clear": 25.0, "lowest": FLOOR, "park": (-60.0, 60.0), "arcs": True,
        "pockets": (Pocket("groove", area, TOP, FLOOR),), "milling": Milling(),
    }  # fmt: skip
    return Work(**(fields | more))  # type: ignore[arg-type]


def strips_of(work: Work) -> WallStrips:
    return wall_strips(work, work.pockets[0])


def test_a_strip_is_left_where_a_lap_is_hardly_needed() -> None:
    """D6, 0.2 left on each wall. 14 wide leave the axis 7.6, three laps of 2.4 beside the first and
    0.4: one strip, of no more than 0.07 of 6 = 0.42. 14.3 leave 0.7: on both walls 0.35 each. 15
    leave 1.4, more than two strips; 13.6 leave 7.2, three laps and nothing."""
    one = strips_of(groove(ring(14.0)))
    assert (one.outer, one.island) == (0.0, pytest.approx(0.4, abs=0.005))
    both = strips_of(groove(ring(14.3)))
    assert both.outer == both.island == pytest.approx(0.35, abs=0.005)
    assert strips_of(groove(ring(15.0))) == strips_of(groove(ring(13.59))) == NO_STRIPS


def test_no_strip_without_a_finishing_lap_as_deep_or_where_the_groove_is_uneven() -> None:
    area = ring(14.0)
    bare = Milling(finish_allowance=0.0)
    assert strips_of(groove(area, milling=bare)) == NO_STRIPS
    # 0.2 on both walls is more than three times 0.05
    thin = Milling(finish_allowance=0.05)
    assert strips_of(groove(ring(13.7), milling=thin)) == NO_STRIPS
    short = replace(FLAT, cutting_length=12.0)
    assert strips_of(groove(area, cutter=short)) == NO_STRIPS
    shallow = Pocket("groove", area, TOP, TOP - 3.0)
    assert strips_of(groove(area, pockets=(shallow,))) == NO_STRIPS
    notched = area.union(box(40.0, -8.0, 50.0, 8.0))
    assert strips_of(groove(notched)) == NO_STRIPS


def test_a_strip_loads_the_cutter_as_the_finishing_lap_does() -> None:
    """By the formulas of power and side load, at 12.4 deep, and with the same chip within a tenth.
    By hand, of 0.4 against 0.2 off D6: acos(1 - 0.8/6) / acos(1 - 0.4/6) = 0.5221 / 0.3672, times
    0.2 / 0.4 is 0.711 of the feed."""
    work = groove(ring(14.0), cutting=replace(CUTTING, finish=4000.0))
    energy, deep = Energy(20.0, 40.0, 80.0, "figures that hang together"), TOP - FLOOR
    feed = strip_feed(work, 0.4)
    assert feed == pytest.approx(0.711 * 4000.0, rel=1e-3)
    strip, lap = (
        load_of(work, PlannedCut("lap", width, deep, one, wall=True), energy)
        for width, one in ((0.4, feed), (0.2, 4000.0))
    )
    assert strip.side == pytest.approx(lap.side, rel=1e-9)
    assert strip.deflection == pytest.approx(lap.deflection, rel=1e-9)
    assert strip.chip == pytest.approx(lap.chip, rel=0.1)
    # never faster than clearing
    assert strip_feed(work, 0.2) == CUTTING.feed


def test_what_is_left_to_the_layers_is_the_ring_less_its_strips() -> None:
    """Rings between circles: 30.4 to 44, and 30.35 to 43.95."""
    for strips, (inner, outer) in (
        (WallStrips(0.0, 0.4), (30.4, 44.0)),
        (WallStrips(0.35, 0.35), (30.35, 43.65)),
    ):
        area = left_to_layers(ring(14.0), strips).area
        assert area == pytest.approx(math.pi * (outer**2 - inner**2), rel=2e-4)


def read(work: Work, *, without: bool) -> dict[str, int]:
    """Findings of the engagement of the groove's own path, all of it or without the strip's lap."""
    (made,) = programs(work)
    feed = strip_feed(work, wall_strips(work, work.pockets[0]).widest)
    text = ["G17 G21 G90 G94 G54 G49 G40 G80 G61", "M3 S10000", "G0 Z25"]
    for move in made.moves:
        if without and move.feed == feed:
            continue
        word = "G0" if move.kind == Kind.RAPID else f"G1 F{move.feed:.0f}"
        text.append(f"{word} X{move.x:.4f} Y{move.y:.4f} Z{move.z:.4f}")
    stock, findings = Stock(120.0, 120.0, TOP, 0.25), Findings("x.nc")
    before = stock.top.copy()
    program = read_program("\n".join([*text, "M2\n"]), "x.nc")
    path = lay(program, (0, 0, 0), FLAT, TOP, 0.0005, findings)
    found = find_engagement(work, path, before, stock.grid)
    check_working(work, path, found, MeasureList("x.nc"), findings)
    return dict(findings.counts)


def test_a_strip_without_its_lap_is_found() -> None:
    """The finishing lap would take 0.6 at its own feed instead of 0.2."""
    limits = replace(Milling().limits, accel=1e9)
    work = groove(
        ring(14.0), arcs=False, cutting=replace(CUTTING, finish=4500.0),
        milling=Milling(limits=limits),
    )  # fmt: skip
    assert read(work, without=False) == {}
    assert "load" in read(work, without=True)
