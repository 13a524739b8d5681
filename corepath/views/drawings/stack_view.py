"""The stack-up drawn: heights of blank, casting and core to one scale, lengths not to scale.

Heights are mm above the finished bottom at the planned stop.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from corepath.board.deck.form import smoothstep7
from corepath.lengths import UNIT, mm
from corepath.views.drawing_sheet import NORMAL, SIDE, SMALL
from corepath.views.drawings.scene import Scene
from corepath.views.drawings.section import HeightScale, Level, name_levels
from corepath.views.svg import Box, Document, number, shown

__all__ = ["StackHeights", "deck_line", "draw_stack"]


def draw_stack(svg: Document, scene: Scene, box: Box) -> None:
    """Draw the stack-up into `box`: heights to scale, lengths not."""
    heights = StackHeights(scene)
    room = Box(box.x0 + 8, box.y0 + 12, box.x1 - 92, box.y1 - 3)
    largest = room.height / (heights.raw_top - heights.raw_bottom)
    factor = next(
        k for k in (10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0, 1.5, 1.0, 0.5, 0.1) if k <= largest
    )
    scale = HeightScale(
        room.y1
        - (room.height - (heights.raw_top - heights.raw_bottom) * factor) / 2
        + heights.raw_bottom * factor,
        factor,
    )
    y = scale.y
    with svg.group("stack-up", id="stack-up"):
        svg.line(box.x0, box.y0 - 1, SIDE.x0 - 1, box.y0 - 1, "narrow")
        words = (
            f"Stack-up: heights {number(factor)}:1, lengths not to scale; {UNIT} above the "
            "finished bottom"
        )
        svg.text(box.x0 + 4, box.y0 + 4, words, "label strong", size=NORMAL)
        x0, x1 = room.x0, room.x1
        svg.add(
            "rect",
            class_="wood narrow",
            x=x0,
            y=y(heights.raw_top),
            width=x1 - x0,
            height=y(heights.raw_bottom) - y(heights.raw_top),
        )
        _scheme(svg, scene, heights, y, x0, x1)
        beside = Box(box.x0, box.y0 + 4, box.x1, box.y1)
        name_levels(svg, heights.levels(), x1, x0, beside, scale)


class StackHeights:
    """Heights above the finished bottom at the planned stop, over the groove, nominal, mm: the
    table's in C."""

    def __init__(self, scene: Scene) -> None:
        table, skim = scene.table, scene.stack.skim
        over = table.column("C")
        self.stop, self.lowest = skim.planned_plane, skim.lowest_plane
        self.raw_top, self.raw_bottom = over.raw_top.nominal, over.raw_bottom.nominal
        self.floor, self.resin = over.floor.nominal, over.resin.nominal
        self.deck, self.edge = table.deck_highest, table.deck_lowest
        self.floor_in_a, self.depth = table.column("A").floor.nominal, scene.depths(["groove"])
        self.insert_id = scene.board.places[0].id if scene.board.places else ""
        insert = table.inserts.get(self.insert_id)
        self.seat = None if insert is None else insert.seat.nominal
        self.barrel = None if insert is None else insert.barrel.nominal

    def levels(self) -> list[Level]:
        """Return the levels that are drawn, mm over the finished bottom."""
        out = [
            Level(self.raw_top, f"raw top; blank {mm(self.raw_top - self.raw_bottom):.2f} thick"),
            Level(self.deck, "deck, highest", True),
            Level(self.edge, "deck at the edge", True),
            Level(self.stop - self.lowest, f"lowest plane, {mm(self.lowest):.2f} in B"),
            Level(0.0, f"planned stop, {mm(self.stop):.2f} in B", True),
            Level(
                self.floor, f"floor, {mm(self.floor_in_a):.2f} in A; groove {self.depth} deep", True
            ),
            Level(self.raw_bottom, "raw bottom"),
        ]
        if self.seat is not None and self.barrel is not None:
            out += [
                Level(self.seat, f"seat of {self.insert_id}"),
                Level(self.barrel, f"barrel's end of {self.insert_id}"),
            ]
        return out


def _scheme(
    svg: Document,
    scene: Scene,
    heights: StackHeights,
    y: Callable[[float], float],
    x0: float,
    x1: float,
) -> None:
    job = scene.job
    groove = (x0 + 26, x0 + 26 + 1.6 * job.groove.width)
    edge_line = groove[0] + 1.6 * job.groove.outside
    columns = (
        [groove, (x0 + 92, x0 + 112)]
        if any(c.kind == "plug" for c in scene.board.castings)
        else [groove]
    )
    for a, b in columns:
        svg.add(
            "rect",
            class_="void narrow",
            x=a,
            y=y(heights.raw_top),
            width=b - a,
            height=y(heights.resin) - y(heights.raw_top),
        )
        svg.add(
            "rect",
            class_="resin narrow",
            x=a,
            y=y(heights.resin),
            width=b - a,
            height=y(heights.floor) - y(heights.resin),
        )
    if heights.seat is not None and heights.barrel is not None:
        svg.add(
            "rect",
            class_="void narrow",
            x=x0 + 138,
            y=y(heights.seat),
            width=30,
            height=y(0) - y(heights.seat),
        )
        svg.add(
            "rect",
            class_="void narrow",
            x=x0 + 147,
            y=y(heights.barrel),
            width=12,
            height=y(0) - y(heights.barrel),
        )
    svg.line(edge_line, y(heights.raw_top) - 1, edge_line, y(heights.raw_bottom) + 1, "uncut")
    svg.line(x0, y(0), x1, y(0), "wide")
    svg.line(x0, y(heights.stop - heights.lowest), x1, y(heights.stop - heights.lowest), "hidden")
    svg.path(
        deck_line(
            y,
            heights.edge,
            heights.deck,
            (x0, edge_line + 1.6 * min(job.deck.edge_band, 16.0), x0 + 88, x1),
        ),
        "deck wide",
    )
    svg.text(
        (groove[0] + groove[1]) / 2,
        y(heights.raw_top) - 1.4,
        f"groove {shown(job.groove.outside)} + {shown(job.groove.inside)}",
        "label halo",
        size=SMALL,
        anchor="middle",
    )
    if len(columns) > 1:
        svg.text(
            x0 + 102, y(heights.raw_top) - 1.4, "plug", "label halo", size=SMALL, anchor="middle"
        )
    if heights.seat is not None:
        svg.text(
            x0 + 153, y(heights.raw_top) - 1.4, "insert", "label halo", size=SMALL, anchor="middle"
        )
    svg.text(x0 + 2, y(heights.raw_top) - 1.4, "rim", "label halo", size=SMALL)


def deck_line(
    y: Callable[[float], float],
    edge: float,
    deck: float,
    along: tuple[float, float, float, float],
) -> str:
    """Return path data of the deck from the blank's edge over the edge band up to its full height,
    along the curve of the blend.

    `edge` and `deck` are the heights of both, which `y` turns into sheet mm; `along` has where the
    line begins, where the edge band ends, where the deck has its full height and where the line
    ends, sheet mm.
    """
    start, band, full, end = along
    shares = np.arange(1, 25) / 24
    points = [(start, y(edge)), (band, y(edge))]
    for u, rise in zip(shares.tolist(), smoothstep7(shares).tolist(), strict=True):
        points.append((band + (full - band) * u, y(edge + (deck - edge) * rise)))
    points.append((end, y(deck)))
    return "M" + "L".join(f"{number(a)} {number(b)}" for a, b in points)
