"""Dowels: where they may stand, and whether their pattern locates the blank in one way only.

The holes in the bed are drilled through the blank as it lies in A. After a flip about X the hole of
(x, y) lies at (x, -y), about Y at (-x, y): the pattern must fall onto itself. A *half turn* (-x,
-y) must not: whoever lays the blank down turned would cut the wrong end. Board frame, mm.
"""

from __future__ import annotations

from collections.abc import Callable

from shapely import Polygon

from corepath.board.footprints import blank_polygon, disc
from corepath.board.placing import Feature
from corepath.errors import Fault
from corepath.job.model import DowelSection, Job
from corepath.job.pose import Pose
from corepath.lengths import mm

__all__ = ["dowel_faults"]

_FITS = 0.01  # mm: places and diameters that differ by less count as equal
# a pattern off by less than this goes on with a tap of the hand: common practice, no source
_FORCED = 0.5

Turn = Callable[[float, float], tuple[float, float]]
_TURNS: dict[str, Turn] = {
    "x": Pose("B", "x").place,
    "y": Pose("B", "y").place,
    "half": lambda x, y: (-x, -y),
}


def dowel_faults(
    job: Job, features: list[Feature], outline: Polygon | None, ring: Polygon | None
) -> list[Fault]:
    """Returns all that is wrong with the dowels: place, overlap, depth, pattern. `outline` and
    `ring` are None where they could not be built."""
    faults = []
    blank = blank_polygon(job)
    discs = [disc(*dowel.at, dowel.diameter) for dowel in job.dowel]
    for i, (dowel, area) in enumerate(zip(job.dowel, discs, strict=True)):
        key, value = f"dowel[{i + 1}]", f"[{mm(dowel.at[0]):g}, {mm(dowel.at[1]):g}]"
        if not blank.contains_properly(area):
            faults.append(Fault(f"{key}.at", "reaches beyond the blank", value, "within the blank"))
        if ring is not None and ring.intersects(area):
            faults.append(
                Fault(f"{key}.at", "stands in the groove", value, "in the rim, outside the groove")
            )
        elif outline is not None and outline.intersects(area):
            faults.append(
                Fault(
                    f"{key}.at", "stands inside the board", value, "in the rim, outside the groove"
                )
            )
        for feature in features:
            if feature.area.intersects(area):
                faults.append(
                    Fault(
                        f"{key}.at", f"overlaps {feature.kind} {feature.id}", value, "clear of it"
                    )
                )
        for j in range(i):
            if discs[j].intersects(area):
                faults.append(Fault(f"{key}.at", f"overlaps dowel {j + 1}", value, "clear of it"))
        if dowel.depth_in_bed >= job.blank.spoil_board:
            allowed = f"less than blank.spoil_board {mm(job.blank.spoil_board):g}"
            says = "would pass through the spoil board"
            faults.append(
                Fault(f"{key}.depth_in_bed", says, f"{mm(dowel.depth_in_bed):g}", allowed)
            )
    return faults + _pattern_faults(job)


def _pattern_faults(job: Job) -> list[Fault]:
    flip = job.machine.flip_about
    other = "y" if flip == "x" else "x"
    axis = flip.upper()
    # The flip that is meant must fit closely. The ways that are not meant must miss by more than a
    # tap of the hand can force, hence the wider limit there.
    missing = _unmatched(job.dowel, _TURNS[flip], _FITS)
    if missing:
        names = ", ".join(
            f"dowel {i + 1} at ({mm(d.at[0]):g}, {mm(d.at[1]):g})" for i, d in missing
        )
        says = (
            f"the pattern does not fit after the flip about {axis}: {names} finds no hole "
            "of its size"
        )
        fix = f"each dowel on the {axis} axis, or a pair of equal dowels at mirror places of it"
        return [Fault("dowel", says, allowed=fix)]
    ways = []
    if not _unmatched(job.dowel, _TURNS["half"], _FORCED):
        ways.append("after a half turn on the bed")
    if not _unmatched(job.dowel, _TURNS[other], _FORCED):
        ways.append(f"after a flip about {other.upper()} instead of {axis}")
    if not ways:
        return []
    along = "X" if flip == "x" else "Y"
    says = f"the pattern also fits {' and '.join(ways)}, so the blank can be laid down wrongly"
    fix = (
        f"unequal distances from the middle along {along}: move one dowel a little, or "
        "use two sizes"
    )
    return [Fault("dowel", says, allowed=fix)]


def _unmatched(
    dowels: tuple[DowelSection, ...], turn: Turn, within: float
) -> list[tuple[int, DowelSection]]:
    """Dowels that, turned, do not meet another of their diameter `within` mm in X and in Y."""
    missing = []
    for i, dowel in enumerate(dowels):
        x, y = turn(*dowel.at)
        meets = any(
            abs(x - d.at[0]) <= within
            and abs(y - d.at[1]) <= within
            and abs(d.diameter - dowel.diameter) <= _FITS
            for d in dowels
        )
        if not meets:
            missing.append((i, dowel))
    return missing
