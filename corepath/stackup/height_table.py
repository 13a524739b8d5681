"""The table of heights: each height in each set-up, at the place where it matters, with its errors.

Drawings, sheet, report and record read their figures here and work out none of their own. A
*column* has the heights over the place where a casting comes out shallowest: there the window is
decided. Heights are mm above the bed of the set-up named, as lengths with named errors. In C the
finished bottom lies on the bed. C is given for the planned stop, or the recorded one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.motion.program import Setup
from corepath.reported import Key, report_keys
from corepath.stackup.heights import At, Heights
from corepath.stackup.linear import Linear
from corepath.stackup.skim import SkimPlan
from corepath.stackup.stacks import CastingStack, PlaceStack
from corepath.stackup.stations import Over

__all__ = ["Column", "Course", "HeightTable", "InsertHeights", "face_up", "height_table"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Column:
    """Heights over one casting in one set-up, at `at` (board frame, mm).

    `depth` is the depth of its pocket from the raw top; `deepest` the same at the place where it is
    deepest. `resin` is the top of the cured resin, in B its face towards the bed. In C `raw_bottom`
    is where the raw bottom was before the skim.
    """

    id: str
    at: tuple[float, float]
    raw_top: Linear
    raw_bottom: Linear
    floor: Linear
    resin: Linear
    depth: Linear
    deepest: Linear


@dataclass(frozen=True, slots=True)
class Course:
    """The nominal heights of one casting as functions of places x, y (board frame, mm).

    `wood` is the wood left under it, `depth` the depth of its pocket from the raw top before any
    flush, `shows` the highest plane in B at which it shows. `gauged`: its floor is taken from the
    depth gauge.
    """

    wood: Over
    depth: Over
    shows: Over
    gauged: bool


@dataclass(frozen=True, slots=True)
class InsertHeights:
    """Depths of one insert below the skimmed face, mm; in C they are heights above the bed.

    `seat` is the depth of the flange's seat, `barrel` of the end of the barrel, `bore` of the bore
    that is cut.
    """

    id: str
    seat: Linear
    barrel: Linear
    bore: Linear


@report_keys(Key("*", "by_setup", None))
@dataclass(frozen=True, slots=True)
class HeightTable:
    """All heights of one core that are shown, mm.

    `thickness` is that of the blank in the job; `stop` the plane where the skim stops,
    `lowest_plane` the lowest that it may reach; `deck_highest` and `deck_lowest` are of the
    designed deck. `columns` are by set-up and casting id, `courses` by casting id, `inserts` by id.
    """

    thickness: float
    stop: Linear
    lowest_plane: Linear
    deck_highest: float
    deck_lowest: float
    columns: Mapping[tuple[Setup, str], Column]
    courses: Mapping[str, Course]
    inserts: Mapping[str, InsertHeights]

    def column(self, setup: Setup, casting: str = "groove") -> Column:
        """Return the heights over a casting in A, B or C."""
        return self.columns[setup, casting]

    def face(self, setup: Setup) -> Linear:
        """Return the upper face over the groove before anything is cut in a set-up."""
        column = self.column(setup)
        return column.raw_bottom if setup == "B" else column.raw_top

    def depths(self, castings: Iterable[str]) -> tuple[float, float]:
        """Return the least and the largest nominal depth, mm, of pockets cut in A; ids given."""
        found = [self.column("A", casting) for casting in castings]
        return min(column.depth.nominal for column in found), max(
            column.deepest.nominal for column in found
        )

    def by_setup(self) -> dict[str, Any]:
        """Return the table for the report: by set-up and casting, [nominal, least, largest], mm."""
        found: dict[str, Any] = {}
        for (setup, casting), column in self.columns.items():
            heights = {name: _figures(getattr(column, name)) for name in _COLUMN}
            found.setdefault(setup, {})[casting] = {"at": list(column.at), **heights}
        found["inserts"] = {
            name: {part: _figures(getattr(insert, part)) for part in ("seat", "barrel", "bore")}
            for name, insert in self.inserts.items()
        }
        return found


_COLUMN = ("raw_top", "raw_bottom", "floor", "resin", "depth", "deepest")


def _figures(height: Linear) -> list[float]:
    """Return nominal, least and largest value, mm."""
    # Adding 0.0 turns -0.0 into 0.0, which would be written with its sign.
    return [round(value, 4) + 0.0 for value in (height.nominal, *height.worst())]


def height_table(
    heights: Heights,
    castings: Sequence[CastingStack],
    places: Sequence[PlaceStack],
    skim: SkimPlan,
    deck: tuple[float, float],
) -> HeightTable:
    """Work out the table for the planned or recorded stop of the skim.

    `deck` holds the least and the largest height of the designed deck, mm.
    """
    plane = skim.planned_plane
    rows = [column for casting in castings for column in _columns(heights, casting, plane).items()]
    return HeightTable(
        thickness=heights.blank.nominal,
        stop=heights.plane(plane),
        lowest_plane=heights.plane(skim.lowest_plane),
        deck_highest=deck[1],
        deck_lowest=deck[0],
        columns=dict(rows),
        courses={casting.casting.id: _course(heights, casting) for casting in castings},
        inserts={place.place.id: _insert(heights, place, plane) for place in places},
    )


def face_up(heights: Heights, setup: Setup, at: At, plane: float) -> Linear:
    """Return the height of the upper face before anything is cut in A, B or C.

    `at` is a place in the board frame, `plane` the stop of the skim in mm above the bed in B.
    """
    if setup == "A":
        return heights.came_top(at)
    if setup == "B":
        return _whole(heights, at) + heights.gap("B", at)
    return heights.after_skim(plane, at)


def _whole(heights: Heights, at: At) -> Linear:
    """Return the thickness of the blank in B at a place: T, or what a flush of the whole face left
    of it."""
    if heights.face_flush is None:
        return heights.thickness(at)
    return heights.face_flush.top - heights.gap("A", at)


def _columns(
    heights: Heights, casting: CastingStack, plane: float
) -> dict[tuple[Setup, str], Column]:
    """Return the heights over a casting in A, B and C, by set-up and casting id."""
    at, name, pour = casting.shallowest_at, casting.casting.id, casting.pour
    top, gap_b = face_up(heights, "A", at, plane), heights.gap("B", at)
    left = face_up(heights, "C", at, plane)
    depth, deepest = casting.depth_at(heights, at), casting.depth_at(heights, casting.deepest_at)
    # Column A shows the blank before the flush, and `depth` counts from the flushed face: add what
    # the flush takes off.
    came = depth if heights.face_flush is None else depth + top - heights.face_flush.top
    came_deepest = deepest
    if heights.face_flush is not None:
        came_deepest = (
            deepest + face_up(heights, "A", casting.deepest_at, plane) - heights.face_flush.top
        )
    floor = heights.floor(casting.casting.floor, casting.operation)
    return {
        ("A", name): Column(
            name, at, top, heights.gap("A", at), floor, top - pour.p_poured, came, came_deepest
        ),
        ("B", name): Column(
            name, at, gap_b, face_up(heights, "B", at, plane), depth + gap_b,
            pour.p_expected + gap_b, depth, deepest
        ),
        ("C", name): Column(
            name, at, left, left - _whole(heights, at), left - depth, left - pour.p_expected, depth,
            deepest
        ),
    }  # fmt: skip


def _course(heights: Heights, casting: CastingStack) -> Course:
    """Return the functions of places that give the nominal heights of a casting."""
    # The floor is flat as planned, or, where gauged, what the gauged depth leaves: f = T + gA - D.
    # All other heights follow from it.
    blank, planned = heights.blank, casting.casting.floor
    gauged = heights.gauged_depth(planned, casting.operation, casting.casting.id)

    def floor(x: Floats, y: Floats) -> Floats:
        if gauged is None:
            return np.full(np.broadcast(x, y).shape, planned)
        return np.asarray(blank.raw_top(x, y) - gauged(x, y))

    def depth(x: Floats, y: Floats) -> Floats:
        return np.asarray(blank.raw_top(x, y) - floor(x, y))

    def shows(x: Floats, y: Floats) -> Floats:
        return depth(x, y) if heights.face_flush is None else heights.face_flush.plane - floor(x, y)

    return Course(
        lambda x, y: np.asarray(floor(x, y) - blank.gap(x, y)), depth, shows, gauged is not None
    )


def _insert(heights: Heights, stack: PlaceStack, plane: float) -> InsertHeights:
    """Return the depths of one insert; a bore that goes through ends at the raw top."""
    insert = stack.place.insert
    seat = heights.seat(stack.seat_depth, stack.place.id)
    bore = (
        heights.skimmed(plane, stack.at)
        if insert.through
        else heights.bore(stack.bore_depth, stack.place.id)
    )
    return InsertHeights(
        stack.place.id,
        seat,
        seat - insert.flange_thickness + insert.length,
        bore,
    )
