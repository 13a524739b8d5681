"""The board as geometry: what is cast, bored and surfaced, in the board frame, mm.

Axes: X along the length, Y across, origin at the middle of the blank, Z up from the finished
bottom. Polygons keep within 0.001 mm of the true curves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shapely import Point, Polygon

from corepath.board.deck.surface import DeckSurface
from corepath.board.footprints import Footprint
from corepath.board.outline.template_outline import Template
from corepath.job.model import DowelSection, InsertSection, PlugSection

__all__ = ["Board", "Casting", "Place"]


@dataclass(frozen=True, slots=True)
class Casting:
    """One pocket that is cast: the groove (`id` "groove") or one plug ("P1a").

    `area` is the footprint; for the groove a ring (polygon with one hole). `floor` is the height of
    its floor above the bed in A, as the job asks for it. `half_span` is half its longest extent
    (mm), over which a blank that is not level shifts the level of the resin.
    """

    id: str
    kind: Literal["groove", "plug"]
    area: Polygon
    floor: float
    half_span: float
    plug: PlugSection | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """One insert at one place (x, y): `id` "I1a"; `seat` is what its flange needs, seen from above,
    `bore` the diameter of the bore under it, both with clearance."""

    id: str
    x: float
    y: float
    seat: Footprint
    bore: float
    insert: InsertSection

    @property
    def bore_area(self) -> Polygon:
        """The bore seen from above."""
        return Point(self.x, self.y).buffer(self.bore / 2)

    @property
    def covers(self) -> Polygon:
        """Seat and bore together: the larger of the two, where a job has a bore wider than its
        seat."""
        return max(self.seat.area, self.bore_area, key=lambda area: area.area)


@dataclass(frozen=True, slots=True)
class Board:
    """All geometry of one job. `castings[0]` is the groove. `island` is the wood inside the
    groove. `template` is another outline to compare with, if the job names one."""

    outline: Polygon
    blank: Polygon
    ring: Polygon
    island: Polygon
    castings: tuple[Casting, ...]
    places: tuple[Place, ...]
    dowels: tuple[DowelSection, ...]
    deck: DeckSurface
    template: Template | None = None
