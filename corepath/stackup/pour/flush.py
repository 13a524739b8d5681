"""What planing off a proud pour needs and costs, in set-up A after the cast (file 04-A-flush).

Cured resin that stands proud of the raw top is a shim in B: the blank would rock on it. *Local*
flush planes each casting and a band round it. The blank still rests on the other raw top in B, so
the window stays; only fill and clean-up over that band lose the dip. *Face* flush planes the whole
face: its plane replaces T + gA everywhere, so the window loses what is planed off, while thickness
and gap are no longer among the errors. Heights above the bed in A, mm. Formulas with a worked
example: docs/pour.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely import Polygon

from corepath.stackup.linear import Linear

__all__ = [
    "ALLOWANCE",
    "FaceFlush",
    "LocalFlush",
    "flush_area",
    "flush_face",
    "flush_local",
    "flush_parts",
]

ALLOWANCE = 0.05
"""mm planed off where the raw top is lowest and every error is against it (common practice, no
source)."""

_CLOSINGS = (0.0, 1.0, 1.5, 2.0, 3.0)
"""Radii of the morphological closing that are tried in turn, in radii of the cutter. The smallest
that helps is taken, since a closing planes raw top that need not be planed."""


@dataclass(frozen=True, slots=True)
class FaceFlush:
    """The whole face planed to `plane`; `top` is that plane with its errors and replaces T + gA."""

    plane: float
    top: Linear

    def depth(
        self, floor: Linear, first_gap: Linear | None = None, gap: Linear | None = None
    ) -> Linear:
        """Return the depth of a pocket whose floor is `floor`: D = F - f, F the planed face.

        Where the blank was taken off the bed in between, give `first_gap`, the gap when the floor
        was cut, and `gap`, that of the flush: then D = F - f + first_gap - gap.
        """
        # Face and floor were cut above the same bed, with the same gap: both cancel.
        depth = self.top - floor
        return depth if first_gap is None or gap is None else depth + first_gap - gap

    def costs(self, raw_top: Linear) -> Linear:
        """Return what is planed off a place where the raw top was at `raw_top`, T + gA: the window
        loses as much."""
        return raw_top - self.top

    def resin_low(self, p: Linear, raw_top: Linear) -> Linear:
        """Return how far resin that lay `p` below the raw top (negative: proud) lies below the
        planed face; never negative."""
        return _not_proud(p - self.costs(raw_top))


def flush_face(lowest_top: Linear, reached: Linear, allowance: float = ALLOWANCE) -> FaceFlush:
    """Return the flush at the highest plane that cleans the whole face in the worst case.

    `lowest_top` is T + gA where it is least over the blank, `reached` the errors of a height
    commanded in A (nominally zero), `allowance` the mm removed even then. The plane is the least
    value of lowest_top - reached, less `allowance`.
    """
    plane = _plane(lowest_top, reached, allowance)
    return FaceFlush(plane, plane + reached)


@dataclass(frozen=True, slots=True)
class LocalFlush:
    """One casting and the band `beyond` mm round it planed to `plane`; `top` is that plane with its
    errors."""

    id: str
    plane: float
    top: Linear
    beyond: float

    def dip(self, raw_top: Linear) -> Linear:
        """Return the depth of a place of the band below its original raw top: it reduces clean-up
        there, and the blank does not rest on it in B."""
        return raw_top - self.top

    def resin_low(self, p: Linear, raw_top: Linear) -> Linear:
        """Return p after the flush: the dip where the resin was higher than that, else `p`."""
        return _larger(p, self.dip(raw_top))

    def clean_up(self, clean_up: Linear, raw_top: Linear) -> Linear:
        """Return the wood that the deck pass removes over the band, where it would have removed
        `clean_up` from the original raw top."""
        return clean_up - self.dip(raw_top)


def flush_area(footprint: Polygon, band: float) -> Polygon:
    """Return what a local flush planes: a footprint grown by `band` mm."""
    grown: Polygon = footprint.buffer(band, quad_segs=64)
    return grown


def flush_parts(areas: list[Polygon], radius: float) -> list[Polygon]:
    """Return what a local flush clears, in parts through each of which a cutter of `radius` mm
    passes.

    `areas` are the `flush_area` of each casting. Areas that meet are one part, unless the cutter
    does not get through a neck or round an islet between them, or more than one island of wood is
    left: then each is a part by itself.
    """
    # Each part has one hole at most and stays in one piece when it is shrunk by the cutter's
    # radius. Where parts overlap, the second one cuts air, which costs a minute and no wood.
    parts: list[Polygon] = []
    for union in shapely.get_parts(shapely.union_all(areas)):
        if len(union.interiors) <= 1 and _passes(union, radius):
            parts.append(union)
            continue
        # Largest first, and those wholly within earlier ones not at all.
        mine = sorted((one for one in areas if one.intersects(union)), key=lambda one: -one.area)
        for k, area in enumerate(mine):
            if not shapely.union_all(mine[:k]).covers(area):
                parts.append(_closed(area, radius))
    return parts


def _closed(area: Polygon, radius: float) -> Polygon:
    """Return the area, closed (in the sense of morphology) as little as is needed for a cutter of
    `radius` mm to pass through all of it; unchanged where no closing helps."""
    # Where a groove comes close to itself, its band leaves a neck that no cutter can follow. Plane
    # the raw top in the neck as well: the flush takes little more than ALLOWANCE off it.
    for share in _CLOSINGS:
        far = share * radius
        closed = area.buffer(far, quad_segs=64).buffer(-far, quad_segs=64) if far else area
        if isinstance(closed, Polygon) and len(closed.interiors) <= 1 and _passes(closed, radius):
            return closed
    return area


def _passes(area: Polygon, radius: float) -> bool:
    """Return whether a cutter of `radius` mm gets through all of the area."""
    # The region of the cutter's middle, the area eroded by the radius, must be one piece with as
    # many holes: two pieces mean a neck, a hole less means an islet cut away.
    centre = area.buffer(-radius, quad_segs=64)
    return (
        isinstance(centre, Polygon)
        and not centre.is_empty
        and len(centre.interiors) == len(area.interiors)
    )


def flush_local(
    casting_id: str,
    lowest_top: Linear,
    reached: Linear,
    *,
    beyond: float,
    allowance: float = ALLOWANCE,
) -> LocalFlush:
    """Return the flush at the highest plane that leaves no resin of one casting proud in the worst
    case.

    `lowest_top` is T + gA where it is least over the band, which reaches `beyond` mm past the
    footprint: at least as far as the dam was, or the resin ran. `reached` and `allowance` as in
    `flush_face`.
    """
    plane = _plane(lowest_top, reached, allowance)
    return LocalFlush(casting_id, plane, plane + reached, beyond)


def _plane(lowest_top: Linear, reached: Linear, allowance: float) -> float:
    return (lowest_top - reached).worst()[0] - allowance


def _not_proud(p: Linear) -> Linear:
    """Return max(p, 0) with errors."""
    # max is not linear. Only the upper end of p is ever judged (resin too low), so keep the errors
    # where that end is above 0, and shift p up to 0 where it is nominally below.
    if p.worst()[1] <= 0:
        return Linear.of(0.0)
    return p if p.nominal >= 0 else p - p.nominal


def _larger(a: Linear, b: Linear) -> Linear:
    """Return of two lengths the one whose largest possible value is larger; if equal, the one that
    is nominally larger."""
    return max(a, b, key=lambda x: (round(x.worst()[1], 9), x.nominal))
