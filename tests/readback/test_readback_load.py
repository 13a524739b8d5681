"""How much is taken at once, against closed forms: the area of the cut times the feed (elementary
geometry)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.cutter import Cutter
from corepath.readback.cutting import cut_path
from corepath.readback.motion.cut_load import (
    check_load,
    heaviest_planned,
    removal_along,
    true_removal,
)
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.material import Stock
from corepath.stock.path import Path, lay

HEAD = "G17 G21 G90 G94 G54 G49 G40 G80 G61\nM3 S10000\n"
FLAT, BALL = Cutter(1, "flat", 6.0, 0.0, 2, 20, 30), Cutter(1, "ball", 6.0, 3.0, 2, 20, 30)


def along(body: str, cutter: Cutter, stock: Stock) -> tuple[Path, np.ndarray, np.ndarray]:
    """The path, and removal and depth at each stretch of it."""
    path = lay(
        read_program(f"{HEAD}{body}M2\n", "x.nc"), (0, 0, 0), cutter, 12.0, 0.0005, Findings("x.nc")
    )
    found = removal_along(path, cut_path(stock, path))
    return path, found.rate, found.depth


def test_a_slot_takes_its_area_times_the_feed():
    """6 wide, 2 deep, at 900 mm/min is 10.8 cm³/min; a wrong time or volume would judge every file
    wrongly."""
    _, rate, depth = along("G0 X-20 Y0 Z12\nG1 Z10 F300\nX20 F900\n", FLAT, Stock(80, 40, 12, 0.25))
    assert rate.max() == pytest.approx(6 * 2 * 900, rel=0.04)
    assert np.median(depth) == pytest.approx(2.0, rel=0.03)


def test_beside_a_slot_only_the_width_left_counts():
    """A line 2 mm aside takes 2 mm of width; else a clearing path would look like a slot."""
    stock = Stock(80, 40, 12, 0.25)
    along("G0 X-30 Y0 Z12\nG1 Z10 F300\nX30 F900\n", FLAT, stock)
    _, rate, _ = along("G0 X-30 Y2 Z12\nG1 Z10 F300\nX30 F900\n", FLAT, stock)
    assert np.median(rate) == pytest.approx(2 * 2 * 900, rel=0.05)


def test_a_ball_takes_the_segment_of_its_circle():
    """A ball of radius 3, 1 deep: R² acos((R-d)/R) - (R-d) sqrt(2Rd - d²) across."""
    _, rate, _ = along("G0 X-20 Y0 Z12\nG1 Z11 F300\nX20 F900\n", BALL, Stock(80, 40, 12, 0.1))
    area = 9 * math.acos(2 / 3) - 2 * math.sqrt(5)
    assert np.median(rate) == pytest.approx(area * 900, rel=0.03)


def test_a_plunge_takes_the_whole_disc():
    """Straight down at 300: pi R² times the feed, also before any way sideways."""
    _, rate, _ = along("G0 X0 Y0 Z12\nG1 Z4 F300\n", FLAT, Stock(40, 40, 12, 0.1))
    assert rate.max() == pytest.approx(math.pi * 9 * 300, rel=0.03)


def test_rapids_take_no_time_and_nothing_is_taken_twice():
    """A free lap after the slot would water the removal down if it were averaged with it."""
    body = "G0 X-20 Y0 Z12\nG1 Z10 F300\nX20 F900\nX-20\nX20\nG0 Z12\n"
    path, rate, _ = along(body, FLAT, Stock(80, 40, 12, 0.25))
    assert rate.max() == pytest.approx(6 * 2 * 900, rel=0.04)
    assert len(rate) <= 10, "stretches that cut begin only on the first lap"
    assert path.kind.tolist().count(0) >= 1


def test_a_pass_left_out_is_too_much_at_once(plan):
    """Two steps of the skim in one cut: planned for one, twice the load on cutter and hold-down."""
    deep = [replace(work, facing=replace(work.facing, planes=(9.0,),
        first_stop=0)) if work.facing else work
            for work in plan.works]  # fmt: skip
    works = [work for work in deep if work.setup != "C" and work.name != "inserts"]
    skim = next(work for work in plan.works if work.facing)
    body = plan.files["05-B-skim-pass-3.nc"].replace("Z10", "Z9")
    files = {name: text for name, text in plan.files.items() if "-A-" in name}
    files |= {"05-B-skim-pass-1.nc": body, "05-B-skim-all.nc": body}
    shallow = replace(skim, facing=replace(skim.facing, planes=(11.2, 9.0), first_stop=1))
    good = replace(plan, works=tuple(works), files=files, shop=replace(plan.shop, planned_pass=1))
    assert "load" not in good.read().counts, "3 mm in one cut is what these works ask"
    assert heaviest_planned(shallow) < heaviest_planned(next(work for work in works if work.facing))
    light = [
        replace(work, cutting=replace(work.cutting, depth=1.0)) if work.facing else work
        for work in works
    ]
    light = [replace(w, facing=replace(w.facing, top=10.0)) if w.facing else w for w in light]
    found = replace(good, works=tuple(light)).read()
    assert found.counts["load"] >= 1
    (first, *_) = [one for one in found.findings if one.kind == "load"]
    assert first.line and "cm³/min" in first.message


def test_a_drill_is_never_too_much_for_its_own_hole(plan):
    """Columns 1 mm apart count up to half more than the disc of a 4 mm drill: no file may be blamed
    for them."""
    drilling = next(work for work in plan.works if work.holes and work.cutter.shape == "drill")
    assert heaviest_planned(drilling) == pytest.approx(math.pi * 4 * drilling.cutting.plunge)
    deep = plan.edited("01-A-dowels.nc", "G83 Z1 R13 Q6", "G83 Z1 R13 Q11.9").read()
    (found,) = [
        one for one in deep.measures if one.id == "largest removal" and one.file.startswith("01-")
    ]
    assert found.value < found.wanted
    assert deep.counts == {}


SMALL = Cutter(1, "flat", 4.0, 0.0, 2, 20, 30)
SLOT = "G0 X-30 Y0.1 Z13\nG1 Z2 F300\nX30 F900\nG0 Z13\n"
"""Full width, from y -1.9 to 2.1 and 10 deep: columns half a millimetre apart stand at y 2.25."""


def lay_and_cut(body: str, cutter: Cutter, stock: Stock):
    path = lay(
        read_program(f"{HEAD}{body}M2\n", "x.nc"), (0, 0, 0), cutter, 12.0, 0.0005, Findings("x.nc")
    )
    return path, cut_path(stock, path)


def test_resin_is_cut_by_the_path_after_the_pour_not_by_those_before():
    """A slot of 4 filled 1 mm proud of a blank of 12 and planed level: 4 wide, 1 deep, at 900 is
    3.6 cm³/min, also where each stretch is measured anew on finer columns (0 was measured)."""
    stock = Stock(80, 40, 12, 0.5)
    lay_and_cut(SLOT, SMALL, stock)
    stock.pour(np.ones_like(stock.top, dtype=bool), -1.0)
    path, cut = lay_and_cut("G0 X-28 Y0.1 Z14\nG1 Z12 F300\nX28 F900\n", SMALL, stock)
    rate = true_removal(path, cut, stock, 1.0).rate
    assert np.median(rate) == pytest.approx(4 * 1 * 900, rel=0.05)


@pytest.mark.parametrize("wide", [0.2, 0.4])
def test_a_strip_narrower_than_the_columns_takes_its_area_times_the_feed(wide: float):
    """A finishing lap along a wall that runs with the columns: they tell half a millimetre of
    width."""
    stock = Stock(80, 40, 12, 0.5)
    lay_and_cut(SLOT, SMALL, stock)
    path, cut = lay_and_cut(
        f"G0 X-28 Y0.1 Z13\nG1 Z2 F300\nY{0.1 + wide} F900\nX28 F4800\n", SMALL, stock
    )
    assert removal_along(path, cut).rate.max() == pytest.approx(0.5 * 10 * 4800, rel=0.05)
    assert np.median(true_removal(path, cut, stock, 1.0).rate) == pytest.approx(
        wide * 10 * 4800, rel=0.05
    )


def test_a_finishing_turn_takes_its_ring_over_its_way():
    """Round inside a hole of radius 5, 0.2 wide: pi (5² - 4.8²) times the depth, over 2 pi 3 of
    way."""
    stock = Stock(40, 40, 12, 1.0)
    round_by = "G1 Z2 F300\nG3 X{0} Y0 I-{0} J0 F2000\nG0 Z13\n"
    lay_and_cut(
        "G0 X1 Y0 Z13\n" + round_by.format(1) + "G0 X2.8\n" + round_by.format(2.8), SMALL, stock
    )
    path, cut = lay_and_cut(
        "G0 X2.8 Y0 Z13\nG1 Z2 F300\nX3 F300\nG3 X3 Y0 I-3 J0 F2000\n", SMALL, stock
    )
    found = true_removal(path, cut, stock, 1.0)
    turn = found.rate[len(found.rate) // 4 : len(found.rate) // 2]
    assert np.median(turn) == pytest.approx((25 - 4.8**2) / 6 * 10 * 2000, rel=0.06)


@pytest.mark.parametrize(("wide", "heavy"), [(0.2, False), (0.45, True)])
def test_a_finishing_lap_is_blamed_for_what_it_takes_and_no_more(plan, wide: float, heavy: bool):
    """Planned for a slot of 4 x 3 at 2000: 24 cm³/min. At 8000, 10 deep, 0.2 take 16, 0.45 take 36;
    columns say 40."""
    work = next(work for work in plan.works if work.name == "groove")
    assert heaviest_planned(work) == pytest.approx(24_000)
    stock, findings = Stock(80, 40, 12, 0.5), Findings("x.nc")
    lay_and_cut(SLOT, SMALL, stock)
    path, cut = lay_and_cut(
        f"G0 X-28 Y0.1 Z13\nG1 Z2 F300\nY{0.1 + wide} F900\nX28 F8000\n", SMALL, stock
    )
    assert removal_along(path, cut).rate.max() > 24_000 * 1.15
    check_load(work, path, cut, stock, MeasureList("x.nc"), findings)
    assert ("load" in findings.counts) == heavy
    if heavy:
        (one,) = findings
        assert float(one.message.split()[1]) == pytest.approx(36.0, rel=0.05)
