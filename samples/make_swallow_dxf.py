"""Writes swallow-620.dxf, the outline of the sample swallow board: a swallow tail, bays and
notches.

Run it beside the sample: `python samples/make_swallow_dxf.py`. Lengths in mm, X along the length, Y
across. One side is given by arcs and lines and mirrored; the notches, 2 mm deep, are on one side
only, so that nothing looks right by symmetry. The whole is one polyline with bulges (the tangent of
a quarter of an arc's sweep, counter-clockwise positive).
"""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import ezdxf
from ezdxf.document import Drawing

Vertex = tuple[float, float, float]

NOTCHES = ((-118.0, 3.0), (32.0, 4.0), (70.0, 3.0))
"""Middle along X and width of the notches on the side of positive Y, mm; each is 2 mm deep."""


def arc(cx: float, cy: float, radius: float, first: float, last: float) -> list[Vertex]:
    """Both ends of an arc from the angle `first` to `last` (degrees, less than half a turn), with
    its bulge."""
    ends = [
        (cx + radius * math.cos(a), cy + radius * math.sin(a))
        for a in (math.radians(first), math.radians(last))
    ]
    return [(*ends[0], math.tan(math.radians(last - first) / 4.0)), (*ends[1], 0.0)]


def half() -> list[Vertex]:
    """The side of positive Y from the nose back to the notch of the swallow tail."""
    nose = arc(250.0, 0.0, 60.0, 0.0, 68.0)
    bay = arc(150.0, 190.0, 96.0, -58.0, -128.0)
    waist = arc(-20.0, -40.0, 160.0, 74.0, 106.0)
    second = arc(-170.0, 178.0, 78.0, -60.0, -122.0)
    return [*nose, *bay, *waist, *second, (-310.0, 112.0, 0.0), (-226.0, 0.0, 0.0)]


def notched(side: list[Vertex], middle: float, width: float) -> list[Vertex]:
    """The side with one notch cut into the straight piece that it lies on."""
    out: list[Vertex] = []
    for (ax, ay, bulge), (bx, by, _) in itertools.pairwise(side):
        out.append((ax, ay, bulge))
        right, left = middle + width / 2, middle - width / 2
        if bulge == 0.0 and ax >= right and left >= bx:
            high, low = (ay + (by - ay) * (x - ax) / (bx - ax) for x in (right, left))
            out += [
                (right, high, 0.0),
                (right, high - 2.0, 0.0),
                (left, low - 2.0, 0.0),
                (left, low, 0.0),
            ]
    return [*out, side[-1]]


def outline() -> list[Vertex]:
    """All vertices, counter-clockwise from the nose, each with the bulge of the piece that begins
    there."""
    upper = half()
    bulges = [bulge for _, _, bulge in upper]
    lower = [(x, -y, bulges[k - 1]) for k, (x, y, _) in reversed(list(enumerate(upper))) if k > 0]
    for middle, width in NOTCHES:
        upper = notched(upper, middle, width)
    return [*upper[:-1], *lower]


def draw() -> Drawing:
    """The drawing, in mm."""
    document = ezdxf.new("R2000", setup=False)
    document.header["$INSUNITS"] = 4
    document.layers.add("OUTLINE")
    document.modelspace().add_lwpolyline(
        outline(), format="xyb", close=True, dxfattribs={"layer": "OUTLINE"}
    )
    return document


def main() -> None:
    """Write the file beside this script, the same bytes each time."""
    ezdxf.options.write_fixed_meta_data_for_testing = True
    draw().saveas(Path(__file__).with_name("swallow-620.dxf"))


if __name__ == "__main__":
    main()
