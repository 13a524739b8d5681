"""Writes balance-740.dxf, the outline of the sample balance board, drawn in inches as its carpenter
would.

Run it beside the sample: `python samples/make_balance_dxf.py`. The outline is 740 mm long and 290
mm wide: a half circle at the tail, straight sides, flat arcs towards the nose and a round nose,
tangent to each other. Its pieces are in no order and run in either direction; the layer NOTES bears
what a reader of the outline must not take for it.
"""

from __future__ import annotations

import math
from pathlib import Path

import ezdxf
from ezdxf.document import Drawing

INCH = 25.4
TAIL = (-225.0, 0.0, 145.0)  # middle x, y and radius, mm
NOSE = (280.0, 0.0, 90.0)
SIDE_END = 60.0  # where the straight side passes into the flat arc, mm


def flat_arc() -> tuple[float, float, float]:
    """Middle height (mm, below the axis for the upper arc), radius and tangent angle of the flat
    arcs.

    The arc starts level at (SIDE_END, 145) and touches the nose's circle from outside it: the
    distance of the middles is the difference of the radii.
    """
    run, width, nose = NOSE[0] - SIDE_END, TAIL[2], NOSE[2]
    radius = (run**2 + width**2 - nose**2) / (2.0 * (width - nose))
    return width - radius, radius, math.atan2(radius - width, run)


def draw() -> Drawing:
    """The drawing, in inches."""
    document = ezdxf.new("R2000", setup=False)
    document.header["$INSUNITS"] = 1
    document.layers.add("OUTLINE")
    document.layers.add("NOTES")
    space = document.modelspace()
    on = {"layer": "OUTLINE"}
    low, radius, angle = flat_arc()
    x, y = (NOSE[0] + NOSE[2] * math.cos(angle)) / INCH, NOSE[2] * math.sin(angle) / INCH
    side, tail, width = SIDE_END / INCH, TAIL[0] / INCH, TAIL[2] / INCH
    space.add_line((side, -width), (tail, -width), on)
    space.add_arc((side, low / INCH), radius / INCH, math.degrees(angle), 90.0, dxfattribs=on)
    space.add_arc((tail, 0.0), width, 90.0, 270.0, dxfattribs=on)
    # From the end of the lower side round the nose: two bulges, drawn from the top backwards, so
    # both are negative
    nose = (x, y, -math.tan(2.0 * angle / 4.0))
    lower = (x, -y, -math.tan((math.pi / 2.0 - angle) / 4.0))
    space.add_lwpolyline([nose, lower, (side, -width, 0.0)], format="xyb", dxfattribs=on)
    space.add_line((side, width), (tail, width), on)
    space.add_circle((0.0, 0.0), 2.0, {"layer": "NOTES"})
    space.add_line((tail - 6.0, 0.0), (side + 12.5, 0.0), {"layer": "NOTES"})
    space.add_text(
        "deck up, nose to the right", height=0.4, dxfattribs={"layer": "NOTES"}
    ).set_placement((-4.0, 2.5))
    return document


def main() -> None:
    """Write the file beside this script, the same bytes each time."""
    ezdxf.options.write_fixed_meta_data_for_testing = True
    draw().saveas(Path(__file__).with_name("balance-740.dxf"))


if __name__ == "__main__":
    main()
