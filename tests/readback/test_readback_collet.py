"""The collet beside the cut, against the stock as it stands when each motion is made.

A cutter of 6 that sticks 10 out of a collet 20 wide, on a blank of 20: at 8 above the bed the
collet's face is at 18, 2 below the raw top.
"""

from __future__ import annotations

import pytest

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.cutter import Cutter
from corepath.readback.motion.holder_clearance import check_nose_stock
from corepath.stock.material import Stock
from corepath.stock.path import lay

CUTTER = Cutter(1, "flat", 6.0, 0.0, 2, 10.0, 10.0, centre_cutting=True)
SLOT = "G0 X-5 Y0\nG1 Z8 F300\nX5 F900\nG0 Z30\n"
# A field over X +-16 and Y +-15 at least down to 15, in two layers.
FIELD = "".join(
    f"G0 X-16 Y-12\nG1 Z{z} F300\n" + "".join(f"X{x} F900\nY{y}\n" for x, y in zip(
        (16, -16) * 3, (-8, -4, 0, 4, 8, 12), strict=True)) + "X16\nG0 Z30\n"
    for z in (17.5, 15)
)  # fmt: skip


def met(body: str, thick: float = 20.0, out: float = 10.0) -> list[tuple[int, float]]:
    """Line and depth of what is found."""
    text = f"G21 G90\nT1\nG0 Z30\nM3 S9000\n{body}M5\nM2\n"
    cutter = Cutter(1, "flat", 6.0, 0.0, 2, 10.0, out, centre_cutting=True)
    findings, stock = Findings("x.nc"), Stock(80, 60, thick, 0.5)
    path = lay(read_program(text, "x.nc"), (0, 0, 0), cutter, thick, 0.0005, findings)
    check_nose_stock(path, stock.top, stock.grid, 20.0, findings)
    return [(one.line, round(one.depth, 3)) for one in findings if one.kind == "collet"]


def test_stock_that_the_same_file_cuts_away_later_stands_in_the_way():
    """The slot first: the collet stands 2 deep in what the field takes only then. At the end of the
    file nothing is left there, and nothing was found."""
    assert met(SLOT + FIELD) == [(6, 2.0), (7, 2.0), (8, 2.0)]


def test_stock_that_the_same_file_has_cut_away_does_not():
    """The field first, 15 high where the collet comes, X +-15 and Y +-10: all clear."""
    assert met(FIELD + SLOT) == []


@pytest.mark.parametrize(("out", "depth"), [(12.01, None), (11.9, 0.1)])
def test_a_collet_just_clear_of_the_raw_top_is_clear(out: float, depth: float | None):
    """12 deep: 12.01 out clears by 0.01; of 11.9 the last 0.1 is told."""
    found = {deep for _, deep in met(SLOT, out=out)}
    assert found == (set() if depth is None else {depth})


def test_a_ramp_is_held_to_its_height_over_each_column():
    """Down from 14 at X-20 to 8 at X20: the collet's face falls from 24 to 18, through 20 at the
    latest 2/3 of the way, and the place that stands out most is the end, by 2."""
    assert met("G0 X-20 Y0\nG1 Z14 F300\nX20 Z8 F900\n") == [(7, 2.0)]
    assert met("G0 X-20 Y0\nG1 Z14 F300\nX6 Z10.1 F900\n") == []
