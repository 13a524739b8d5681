"""Ways into solid material where no engagement is measured: skim, roughing of the deck, trim.

The small plan of our own: blank 100 x 60 x 12, its skim by a flat cutter of 12 that does not cut to
its centre and takes ramps of 3 degrees, at 2000 mm/min sideways and 1500 down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from shapely import box

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Zero
from corepath.readback.cutting import cut_path
from corepath.readback.motion.descents import (
    Descents,
    check_descents,
    descents_solved,
    least_slope,
)
from corepath.stock.material import Stock
from corepath.stock.path import lay
from corepath.work.works import Deck, Work

SKIM, ALL = "05-B-skim-pass-1.nc", "05-B-skim-all.nc"
FIRST = "G0 X-60 Y-30\nG1 Z11.2000\n"


def found(plan, name: str, body: str) -> set[str]:
    """Kinds found where the skim goes `body` first, then its way; nothing may be found in another
    file."""
    result = plan.edited(name, FIRST, f"{body}G0 Z25\nF2000\n{FIRST}").read()
    assert {one.file for one in result.findings} <= {name}
    return set(result.counts)


@pytest.mark.parametrize("name", [SKIM, ALL])
def test_straight_down_into_the_blank_is_found(plan, name):
    """The skim comes from beside the blank; 0.8 straight down burns a cutter without edges in its
    middle."""
    down = "F1500\nG0 X10 Y5\nG0 Z13\nG1 Z11.2\n"
    assert found(plan, name, down) == {"plunge"}
    cutters = {**plan.shop.cutters, 2: replace(plan.shop.cutters[2], centre_cutting=True)}
    assert found(plan.with_shop(cutters=cutters), name, down) == set()


def test_straight_down_faster_than_a_plunge_is_found(plan):
    """A cutter that may plunge has a feed for it, less than that sideways."""
    cutters = {**plan.shop.cutters, 2: replace(plan.shop.cutters[2], centre_cutting=True)}
    assert found(plan.with_shop(cutters=cutters), SKIM, "F2000\nG0 X10 Y5\nG0 Z13\nG1 Z11.2\n") == {
        "feed-too-high"
    }


@pytest.mark.parametrize(("x", "kinds"), [(52.8, {"plunge"}), (53.2, set()), (-57.0, set())])
def test_only_what_stands_under_the_middle_of_the_cutter_counts(plan, x, kinds):
    """Within half the radius, 3 mm, of the axis: beyond, the edges cut and the middle hangs
    free."""
    assert found(plan, SKIM, f"F1500\nG0 X{x} Y5\nG0 Z13\nG1 Z11.2\n") == kinds


def test_straight_down_where_it_is_cut_already_is_no_plunge(plan):
    """The same way down after a lap has cleared the place."""
    lap = "F1500\nG0 X-60 Y5\nG1 Z11.2\nF2000\nG1 X60\nG0 Z25\nF1500\nG0 X10\nG1 Z11.2\n"
    assert found(plan, SKIM, lap) == set()


@pytest.mark.parametrize(("degrees", "feed", "kinds"), [
    (2.9, 1500, set()), (3.3, 1500, {"steep-ramp"}), (2.9, 2000, {"feed-too-high"}), (30.0, 1500,
    {"steep-ramp"}),
])  # fmt: skip
def test_a_ramp_is_held_to_the_cutters_angle_and_feed(plan, degrees, feed, kinds):
    """3 degrees, 1500 mm/min; from just over the raw top down to the first plane."""
    long = 0.8 / math.tan(math.radians(degrees))
    assert found(plan, SKIM, f"F{feed}\nG0 X10 Y5\nG0 Z12\nG1 X{10 + long:.4f} Z11.2\n") == kinds


@dataclass(frozen=True)
class Slope:
    """A deck that falls along X by a tangent, 8 high in the middle."""

    steepest: float

    def height(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 8.0 - self.steepest * x + 0.0 * y


@dataclass(frozen=True)
class Hump:
    """A level deck, 7 high, with a cone up to 8 at X0 Y0 that falls by 0.5 a mm."""

    steepest: float = 0.5

    def height(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.maximum(7.0, 8.0 - self.steepest * np.hypot(x, y))


CUTTER = Cutter(2, "flat", 12.0, 0.0, 2, 14.0, 30.0)
BLANK = box(-50, -30, 50, 30)


def rough(slope: float | Hump, body: str, left: float = 1.0) -> set[str]:
    """Kinds found where a deck is roughed on a fresh blank of 12."""
    surface = slope if isinstance(slope, Hump) else Slope(slope)
    deck = Deck(BLANK, surface, 12.0, 0.05, 0.02, left)  # type: ignore[arg-type]
    run, zero = Cutting(18000.0, 2000.0, 1500.0, 1500.0, 3.0, 2.0), Zero(0, 0, 0, "", False)
    work = Work(
        7, "C", "deck-rough", CUTTER, run, zero, BLANK, 12.0, 25.0, 4.0, (0.0, 0.0), True, deck=deck
    )
    text = f"G21 G90\nT2\nG0 Z25\nM3 S18000\nF1500\n{body}G0 Z25\nM5\nM2\n"
    stock, findings = Stock(100, 60, 12, 0.5), Findings("x.nc")
    path = lay(read_program(text, "x.nc"), (0, 0, 0), CUTTER, 12.0, 0.0005, findings)
    cut_path(stock, path)
    check_descents(work, path, descents_solved(path, stock, least_slope(work, path)), findings)
    return set(findings.counts)


def test_roughing_may_go_down_as_the_deck_does(plan):
    """The deck falls by 0.2 a mm, 11 degrees; no steeper than that and the cutter's 3 degrees
    together."""
    along = "G0 X-20 Y0 Z13\nG1 Z12\nG1 X0 Z{z}\n"
    assert rough(0.2, along.format(z=12 - 20 * 0.2)) == set()
    assert rough(0.2, along.format(z=12 - 20 * 0.24)) == set()
    assert rough(0.2, along.format(z=12 - 20 * 0.30)) == {"steep-ramp"}
    assert rough(0.0, along.format(z=12 - 20 * 0.2)) == {"steep-ramp"}


def test_a_deck_touched_between_two_places_of_the_rim_is_followed(plan):
    """202649/36: the rim, 6 from the middle, lies on the hump's top 20 degrees off X, between the
    eight places of it that were looked at. 2 mm farther it is √(7.638² + 2.052²) - 6 = 1.909 from
    the top, and the tip 0.954 lower; 0.5 a mm is the most that the deck falls."""
    along = "G0 X5.638 Y2.052 Z13\nG1 Z12\nG1 X7.638 Z{z}\n"
    assert rough(Hump(), along.format(z=12 - 0.954)) == set()
    assert rough(Hump(), along.format(z=12 - 1.3)) == {"steep-ramp"}


def test_poured_resin_stands_in_the_way_down():
    """A slot down to 4, filled 1 above a blank of 12: on its way down to 11 the axis meets 2 mm."""
    stock, findings = Stock(100, 60, 12, 0.5), Findings("x.nc")
    for text in ("G0 X-20 Y0 Z25\nG1 Z4\nX20\nG0 Z25\n", "G0 X0 Y0 Z25\nG1 Z11\nG0 Z25\n"):
        program = read_program(f"G21 G90\nT2\nM3 S18000\nF1500\n{text}M5\nM2\n", "x.nc")
        path = lay(program, (0, 0, 0), CUTTER, 12.0, 0.0005, findings)
        cut_path(stock, path)
        if not stock.has_casting.any():
            stock.pour(np.ones_like(stock.top, dtype=bool), -1.0)
    assert descents_solved(path, stock, 0.0).under.max() == pytest.approx(2.0, abs=1e-5)


def test_roughing_straight_down_is_found_whatever_the_slope(plan):
    """A flat cutter of 12 down 2 mm in the middle of the board."""
    assert rough(0.2, "G0 X0 Y0 Z13\nG1 Z10\n") == {"plunge"}
    assert rough(0.2, "G0 X-60 Y0 Z13\nG1 Z10\nX0\n") == set()


def test_the_finished_deck_goes_down_as_it_likes_but_not_straight(plan):
    """Its lines follow the deck through what roughing left; straight down stays a plunge."""
    assert rough(0.2, "G0 X-20 Y0 Z13\nG1 Z12\nG1 X0 Z8\n", 0.0) == set()
    assert rough(0.2, "G0 X0 Y0 Z13\nG1 Z10\n", 0.0) == {"plunge"}


def test_heights_rounded_in_inches_are_no_steeper_ramp() -> None:
    """Chords 0.039 long of a helix as steep as the cutter takes: 0.0390 · tan 3° = 0.00204 is 8.05
    of the last decimal of an inch, and 9 of them were told as 3.4 degrees. Ten are steeper."""
    level, steps = np.full(3, 0.0390), np.array([8.0, 9.0, 10.0])
    down = Descents(level, steps * 0.000254, np.zeros(3))
    assert down.steeper(1.02 * math.tan(math.radians(3.0))).tolist() == [False, False, True]
