"""Which cutters cut the pockets of one operation: one, or a large one and then a small one for the
remaining stock.

A cutter serves alone when it passes everywhere and leaves no corner of note that a smaller listed
one would reach. Otherwise a larger one may go first, in a file of its own (`cleared` of the second
file's pockets is what the first sweeps to the floor). So may one in a ring that is larger than the
usual cutter, which leaves room beside itself: a ring is long enough for any ramp, and its first lap
cuts a slot as wide as the cutter whichever it is. Of all choices that reach as much, the one with
the fewest minutes is taken: the least time of each file (`least_time`) and a change of cutter
before each that is not in the spindle. Lengths in mm, minutes.
"""

from __future__ import annotations

import string
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import shapely

from corepath.work.cutting.cutters import Chosen
from corepath.work.cutting.reach import largest_left, passes, reached
from corepath.work.works import Pocket

__all__ = ["BESIDE", "CHANGE", "MORE", "Share", "shares"]

_NOTE = 0.5
"""mm; a corner where more than this stays is of note (common practice, no source)."""

MORE = 0.3
"""mm by which a smaller cutter must leave less to be worth its file."""

BESIDE = 0.1
"""Share of the radius that a larger cutter must have beside it in a ring besides the allowance, so
that a finishing lap makes the walls (`LEAST_ROOM` of the paths)."""

CHANGE = 2.0
"""Minutes to fit another cutter and touch off again (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Share:
    """What one cutter of an operation cuts; `part` counts the files from 1."""

    chosen: Chosen
    pockets: tuple[Pocket, ...]
    part: int = 1


Minutes = Callable[[Share], float]


def shares(
    usual: Chosen,
    others: Sequence[Chosen],
    pockets: tuple[Pocket, ...],
    minutes: Minutes,
    *,
    fitted: int | None = None,
    leave: float = 0.0,
) -> tuple[Share, ...]:
    """The files of one operation, in order.

    `usual` is the cutter that the width asks for, `others` are all that fit and reach, `minutes`
    gives the least time of a file, infinite for one that must not be made. `fitted` is the number
    of the cutter in the spindle, `leave` (mm) what a finishing lap takes off the walls. Where no
    listed cutter passes everywhere, `usual` is kept: its path is then refused with the place.
    """
    areas = [pocket.area for pocket in pockets]

    def left(chosen: Chosen) -> float:
        return max(largest_left(area, chosen.cutter.radius) for area in areas)

    def fits(chosen: Chosen) -> bool:
        return all(passes(area, chosen.cutter.radius) for area in areas)

    def roomy(chosen: Chosen) -> bool:
        radius = chosen.cutter.radius
        return all(
            area.interiors and passes(area, radius + leave + BESIDE * radius) for area in areas
        )

    if fits(usual) and left(usual) <= _NOTE:
        larger = [one for one in others if one.cutter.radius > usual.cutter.radius and roomy(one)]
        if not larger:
            return (Share(usual, pockets),)
        others = [*larger, usual]
    able = [chosen for chosen in others if fits(chosen)]
    if not able:
        return (Share(usual, pockets),)
    leaves = {chosen.cutter.number: left(chosen) for chosen in able}
    # As good as the best listed one, within what a file of its own is worth.
    most = max(_NOTE, min(leaves.values()) + MORE)
    good = [chosen for chosen in able if leaves[chosen.cutter.number] <= most]
    ways: list[tuple[Share, ...]] = [(Share(chosen, pockets),) for chosen in good]
    for small in good:
        for large in others:
            pair = (
                _pair(large, small, pockets) if large.cutter.radius > small.cutter.radius else None
            )
            ways += [pair] if pair is not None else []

    # Rounded; at equal minutes the choice with fewer files.
    def cost(way: tuple[Share, ...]) -> float:
        changes = len(way) - 1 + (fitted is not None and way[0].chosen.cutter.number != fitted)
        return round(sum(map(minutes, way)) + CHANGE * changes, 4)

    return min(ways, key=lambda way: (cost(way), len(way)))


def _pair(large: Chosen, small: Chosen, pockets: tuple[Pocket, ...]) -> tuple[Share, Share] | None:
    """First what `large` clears, then what it leaves; None where it clears nothing or leaves
    nothing."""
    first: list[Pocket] = []
    second: list[Pocket] = []
    for pocket in pockets:
        pieces = reached(pocket.area, large.cutter.radius)
        # It would leave an island of its own standing, which one ring plan cannot clear.
        if any(len(piece.interiors) > len(pocket.area.interiors) for piece in pieces):
            return None
        first += [
            replace(pocket, id=id, area=piece)
            for id, piece in zip(_ids(pocket.id, len(pieces)), pieces, strict=True)
        ]
        # The large cutter does not fit in at all: all of it is left to the small one.
        if not pieces:
            second.append(pocket)
        elif largest_left(pocket.area, large.cutter.radius) > MORE or not passes(
            pocket.area, large.cutter.radius
        ):
            cleared = shapely.union_all(pieces)
            assert isinstance(cleared, (shapely.Polygon, shapely.MultiPolygon))
            second.append(replace(pocket, cleared=cleared))
    if not first or not second:
        return None
    return Share(large, tuple(first)), Share(small, tuple(second), 2)


def _ids(id: str, count: int) -> list[str]:
    """`id` alone, or with a letter for each of `count` pieces: a to z, then aa, ab ..."""
    if count == 1:
        return [id]
    letters = string.ascii_lowercase
    pairs = [*letters, *(a + b for a in letters for b in letters)]
    return [f"{id} {pairs[k]}" for k in range(count)]
