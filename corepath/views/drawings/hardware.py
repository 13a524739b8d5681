"""How inserts and dowels are drawn from above, in every plan, overview and map."""

from __future__ import annotations

from corepath.board.footprints import Footprint
from corepath.views.svg import Document, polygon_path

__all__ = ["draw_dowel", "draw_insert"]


def draw_insert(svg: Document, seat: Footprint, bore: float, kind: str, places: int) -> None:
    """Draw a seat, and the bore of diameter `bore` (mm) under it, in lines of a `kind`
    (`style.py`).

    A seat is a circle where it is one, else its area, with coordinates of `places` decimals.
    """
    if seat.diameter is None:
        svg.path(polygon_path(seat.area, places), f"seat {kind}")
    else:
        svg.add("circle", class_=f"seat {kind}", cx=seat.x, cy=seat.y, r=seat.diameter / 2)
    svg.add("circle", class_=f"bore {kind}", cx=seat.x, cy=seat.y, r=bore / 2)


def draw_dowel(
    svg: Document, at: tuple[float, float], diameter: float, kind: str = "narrow", id: str = "",
    cross: float | None = None,
) -> None:  # fmt: skip
    """Draw a dowel at (x, y), mm, in lines of a `kind`, with its centre lines where they are to
    reach `cross` mm beyond it."""
    x, y = at
    svg.add("circle", class_=f"dowel {kind}", id=id or None, cx=x, cy=y, r=diameter / 2)
    if cross is not None:
        reach = diameter / 2 + cross
        svg.line(x - reach, y, x + reach, y, "centre")
        svg.line(x, y - reach, x, y + reach, "centre")
