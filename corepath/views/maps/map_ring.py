"""The ring of a map unrolled: the mapped height from the first station on along the whole ring,
with the limit or the planes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.lengths import mm
from corepath.stackup.pass_shows import PassShows
from corepath.views.drawing_sheet import MAIN, NORMAL, SMALL
from corepath.views.maps.map_facts import MapSheet
from corepath.views.svg import Box, Document, number

__all__ = ["draw_unrolled"]

_CURVE = Box(MAIN.x0 + 18, MAIN.y0 + 146, MAIN.x1 - 22, MAIN.y0 + 190)
_MOST_PLANES = 9


def draw_unrolled(svg: Document, sheet: MapSheet) -> None:
    """Draw the mapped height along the whole ring, with the limit or the skim planes."""
    ring = sheet.sampled[0].stations
    values = np.array([station.least for station in ring] + [ring[0].least])
    low, high = float(values.min()), float(values.max())
    room = max(high - low, 0.1) * 0.15
    lines = _planes_near(sheet.passes, low, high)
    if sheet.limit is not None:
        lines = [(sheet.limit, "least_floor")]
    low, high = (
        min([low, *(z for z, _ in lines)]) - room,
        max([high, *(z for z, _ in lines)]) + room,
    )
    box = _CURVE

    def y(z: float) -> float:
        return box.y1 - (z - low) / (high - low) * box.height

    with svg.group("unrolled", id="unrolled"):
        svg.text(
            MAIN.x0 + 4,
            box.y0 - 3,
            "Along the groove, all round: the least across it",
            "label strong",
            size=NORMAL,
        )
        svg.add("rect", class_="narrow", x=box.x0, y=box.y0, width=box.width, height=box.height)
        for z, words in lines:
            svg.line(box.x0, y(z), box.x1, y(z), "hidden")
            svg.text(box.x1 + 1.5, y(z) + 1.1, words, size=SMALL)
            svg.text(
                box.x0 - 1.5, y(z) + 1.1, f"{mm(z):.2f}", "figure quiet", size=SMALL, anchor="end"
            )
        placed = [z for z, _ in lines]
        for z in (float(values.min()), float(values.max())):
            # 3.4 mm on the sheet is a line of text: closer figures would cover each other.
            if all(abs(y(z) - y(other)) > 3.4 for other in placed):
                svg.text(
                    box.x0 - 1.5, y(z) + 1.1, f"{mm(z):.2f}", "figure", size=SMALL, anchor="end"
                )
                placed.append(z)
        _curve(svg, box, values, y, sheet.marked)


def _planes_near(passes: Sequence[PassShows], low: float, high: float) -> list[tuple[float, str]]:
    """Return the planes between `low` and `high` and the next one beyond on either side, no more
    than can be distinguished."""
    above = [row for row in passes if row.plane > high][-1:]
    below = [row for row in passes if row.plane < low][:1]
    near = [*above, *(row for row in passes if low <= row.plane <= high), *below]
    every = max(1, math.ceil(len(near) / _MOST_PLANES))
    return [(row.plane, "pass") for row in near[::every]]


def _curve(
    svg: Document,
    box: Box,
    values: NDArray[np.float64],
    y: Callable[[float], float],
    marked: Sequence[int],
) -> None:
    xs = box.x0 + box.width * np.arange(len(values)) / (len(values) - 1)
    points = " ".join(
        f"{number(float(x))} {number(y(float(z)))}" for x, z in zip(xs, values, strict=True)
    )
    svg.path("M" + points, "curve wide")
    for count, k in enumerate(marked, start=1):
        svg.line(float(xs[k]), box.y1, float(xs[k]), box.y1 + 1.2, "narrow")
        svg.text(float(xs[k]), box.y1 + 4.4, str(count), "label quiet", size=SMALL, anchor="middle")
