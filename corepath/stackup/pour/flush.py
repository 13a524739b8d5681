"""What planing a proud pour off needs and costs, in set-up A after the cast (file 04-A-flush).

Cured resin that stands proud of the raw top is a shim in B: the blank would rock on it. *Local*
flush planes each casting and a band round it; the rest of the raw top still bears in B, so the
window stays, and only the fill and the clean-up over that band see the dip. *Face* flush planes the
whole face: its plane replaces T + gA in all relations, so the window loses what is planed off,
while thickness and gap fall out of the errors. Heights above the bed in A, mm. Relations with a
worked example: docs/pour.md.
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
"""Radii of the closing that are tried, in radii of the cutter."""


@dataclass(frozen=True, slots=True)
class FaceFlush:
    """The whole face planed to `plane`; `top` is that plane with its errors, which now stands for T
    + gA."""

    plane: float
    top: Linear

    def depth(
        self, floor: Linear, first_gap: Linear | None = None, gap: Linear | None = None
    ) -> Linear:
        """D = F - f: both were cut above the same bed, so the bed cancels, and the gap too.

        Where the blank was taken off the bed in between, it may lie otherwise than before: with
        `first_gap` when the floor was cut and `gap` now, D = F - f + first_gap - gap.
        """
        depth = self.top - floor
        return depth if first_gap is None or gap is None else depth + first_gap - gap

    def costs(self, raw_top: Linear) -> Linear:
        """What is planed off a place whose raw top stood at T + gA: so much less window."""
        return raw_top - self.top

    def resin_low(self, p: Linear, raw_top: Linear) -> Linear:
        """How far resin that lay `p` below the raw top (negative: proud) lies below the planed
        face; never proud."""
        return _not_proud(p - self.costs(raw_top))


def flush_face(lowest_top: Linear, reached: Linear, allowance: float = ALLOWANCE) -> FaceFlush:
    """The highest plane that cleans the whole face in the worst case.

    `lowest_top` is T + gA where it is least over the blank, `reached` the errors of a height
    commanded in A (nominally zero). The plane is the least of lowest_top - reached, less
    `allowance`.
    """
    plane = _plane(lowest_top, reached, allowance)
    return FaceFlush(plane, plane + reached)


@dataclass(frozen=True, slots=True)
class LocalFlush:
    """One casting and a band round it planed to `plane`; `top` is that plane with its errors."""

    id: str
    plane: float
    top: Linear
    beyond: float

    def dip(self, raw_top: Linear) -> Linear:
        """How far a place of the band lies below the raw top it had; costs clean-up there, and
        bears nothing in B."""
        return raw_top - self.top

    def resin_low(self, p: Linear, raw_top: Linear) -> Linear:
        """p after the flush: the dip where the resin stood higher, else what it was."""
        return _larger(p, self.dip(raw_top))

    def clean_up(self, clean_up: Linear, raw_top: Linear) -> Linear:
        """Wood that the deck pass removes over the band, where it would have removed `clean_up` of
        the raw top."""
        return clean_up - self.dip(raw_top)


def flush_area(footprint: Polygon, band: float) -> Polygon:
    """What a local flush planes: a casting and the band round it."""
    grown: Polygon = footprint.buffer(band, quad_segs=64)
    return grown


def flush_parts(areas: list[Polygon], radius: float) -> list[Polygon]:
    """What a local flush clears, part by part, so that a cutter of `radius` mm passes through each.

    `areas` are the `flush_area` of each casting. Those that meet are cleared as one part, unless
    they leave a neck or an islet between them that the cutter does not get through, or wood in more
    than one place: then each is a part by itself. Cutting where two overlap cuts air the second
    time, which costs a minute and no wood.
    """
    parts: list[Polygon] = []
    for union in shapely.get_parts(shapely.union_all(areas)):
        if len(union.interiors) <= 1 and _passes(union, radius):
            parts.append(union)
            continue
        mine = sorted((one for one in areas if one.intersects(union)), key=lambda one: -one.area)
        for k, area in enumerate(mine):
            if not shapely.union_all(mine[:k]).covers(area):
                parts.append(_closed(area, radius))
    return parts


def _closed(area: Polygon, radius: float) -> Polygon:
    """The area, closed as little as it takes where a cutter of `radius` mm would not pass all
    through it.

    Where a groove comes close to itself its band leaves a neck that no cutter follows. There the
    raw top is planed as well: it is wood at the flush's own plane but for `ALLOWANCE`. As it is
    where nothing helps.
    """
    for share in _CLOSINGS:
        far = share * radius
        closed = area.buffer(far, quad_segs=64).buffer(-far, quad_segs=64) if far else area
        if isinstance(closed, Polygon) and len(closed.interiors) <= 1 and _passes(closed, radius):
            return closed
    return area


def _passes(area: Polygon, radius: float) -> bool:
    """Whether a cutter of `radius` mm gets through all of it: its middle may go wherever the area
    goes."""
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
    """The highest plane that leaves no resin of one casting proud in the worst case.

    `lowest_top` is T + gA where it is least over the band, which reaches `beyond` mm past the
    footprint: at least as far as the dam stood, or the resin ran.
    """
    plane = _plane(lowest_top, reached, allowance)
    return LocalFlush(casting_id, plane, plane + reached, beyond)


def _plane(lowest_top: Linear, reached: Linear, allowance: float) -> float:
    return (lowest_top - reached).worst()[0] - allowance


def _not_proud(p: Linear) -> Linear:
    """max(p, 0), with the errors of p where it may come out above zero: that end alone is
    judged."""
    if p.worst()[1] <= 0:
        return Linear.of(0.0)
    return p if p.nominal >= 0 else p - p.nominal


def _larger(a: Linear, b: Linear) -> Linear:
    """Of two lengths the one that may be larger, by its worst case; where even, the one nominally
    larger."""
    return max(a, b, key=lambda x: (round(x.worst()[1], 9), x.nominal))
