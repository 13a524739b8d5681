"""The stack-up: one object that holds every height, and the only place that works out a depth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from corepath.board.features import Board, Casting, Place
from corepath.job.model import Job
from corepath.job.pose import pose_of
from corepath.job.record.settled import Settled
from corepath.lengths import mm
from corepath.motion.program import Found, Setup, System, Zero
from corepath.reported import Key, report_keys
from corepath.stackup.footprint_places import footprint_places
from corepath.stackup.height_table import HeightTable, height_table
from corepath.stackup.heights import At, Heights
from corepath.stackup.linear import Linear
from corepath.stackup.measuring.blank import Blank
from corepath.stackup.pour.flush import LocalFlush, flush_area
from corepath.stackup.pour.pour import CastingPour, volume_of
from corepath.stackup.skim import SkimPlan, plan_skim

__all__ = ["CastingStack", "PlaceStack", "Stackup", "stack_heights"]


@report_keys(
    Key("id", "casting.id"), Key("floor", "casting.floor"), Key("p_expected",
        "pour.p_expected.nominal"),
    Key("p_limit", "pour.p_limit"),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class CastingStack:
    """One casting in the stack-up: the operation that cuts it and the deck over its own footprint.

    `places` (n, 2) sample the footprint; of them are those where the deck is highest and lowest,
    where the pocket may be deepest and shallowest, and where the blank may lie hollowest.
    """

    casting: Casting
    operation: str
    places: NDArray[np.float64]
    deck_highest: float
    deck_lowest: float
    highest_at: At
    lowest_at: At
    deepest_at: At
    shallowest_at: At
    widest_gap_at: At
    pour: CastingPour
    flush: LocalFlush | None = None

    def depth_at(self, heights: Heights, at: At) -> Linear:
        """D at a place."""
        return heights.depth(self.casting.floor, self.operation, at, self.casting.id)

    def shows_at(self, heights: Heights, at: At) -> Linear:
        """The highest skim plane at which it shows there, D + gB."""
        return heights.shows_at(self.casting.floor, self.operation, at, self.casting.id)


@dataclass(frozen=True, slots=True)
class PlaceStack:
    """One insert in the stack-up: depths (mm) below the skimmed face, and the deck over it."""

    place: Place
    at: At
    seat_depth: float
    bore_depth: float
    deck_over_seat: float
    deck_over_bore: float
    highest_over_bore: float


@dataclass(frozen=True, slots=True)
class Stackup:
    """All heights of one job. Heights are above the bed of the set-up named, nominal, mm."""

    job: Job
    heights: Heights
    castings: tuple[CastingStack, ...]
    places: tuple[PlaceStack, ...]
    skim: SkimPlan
    deck_highest: float
    deck_highest_at: tuple[float, float]
    deck_lowest: float
    weakest_deck: float = 0.0
    """The deck where least may be left to remove: highest, but for a raw top that may stand off the
    bed in B"""
    weakest_deck_at: At = (0.0, 0.0)
    withheld: tuple[str, ...] = ()
    """In plain words, why passes of the skim below the planned stop are not offered."""

    @property
    def table(self) -> HeightTable:
        """The heights that drawings, sheet, report and record show."""
        return height_table(self)

    @property
    def blank_top(self) -> float:
        """The highest the raw top may stand in A, or the raw bottom in B: the thickest blank, lying
        badly."""
        return self.heights.blank.thickest.value + self.job.tolerances.flat

    @property
    def thickest_stock(self) -> float:
        """The highest the raw top may stand in C: after the earliest stop, lying badly."""
        return self.skim.thickest_plane + self.job.tolerances.flat

    def clear(self, setup: Setup, top: float) -> float:
        """Height of free rapids: safe_z above the highest of stock, obstacles and screw heads."""
        highest = max((o.height for o in self.job.obstacle if setup in o.setups), default=0.0)
        proud = [
            screw.head_height - screw.counterbore
            for screw in self.job.screw
            if setup in screw.setups
        ]
        top += max([0.0, *proud])
        return max(top, highest) + self.job.machine.safe_z

    def zero(self, setup: Setup, operation: str) -> Zero:
        """The work zero of an operation in the bed frame of its set-up."""
        pose = pose_of(self.job, setup)
        by: Found = "dowels" if setup != "A" else "edges" if operation == "dowels" else "kept"
        zero = self._touched(setup, operation, *pose.zero)
        return replace(zero, by=by, dowels=tuple(pose.place(*dowel.at) for dowel in self.job.dowel))

    def _touched(self, setup: Setup, operation: str, x: float, y: float) -> Zero:
        """What Z is touched on, and how high that is."""
        if operation == "inserts":
            second = self.job.machine.second_zero
            system: System = "G54" if second == "none" else second
            face = "the skimmed face"
            return Zero(x, y, self.skim.planned_plane, face, True, face, system)
        if self.job.machine.z_zero == "bed":
            return Zero(x, y, 0.0, "the bed beside the blank", True)
        place = self._touch_words(setup)
        if setup == "A":
            return Zero(
                x, y, self.heights.face_height, f"the raw top at {place}", True, "the raw top"
            )
        if setup == "B":
            height = self.heights.face_height_below
            touch = f"the raw bottom at {place}, before the first pass"
            return Zero(x, y, height, touch, False, "the raw bottom")
        height = self.heights.raw_top_after(self.skim.planned_plane)
        if self.touch_stays(setup):
            return Zero(
                x,
                y,
                height,
                f"the raw top at {place}, on the frame round the deck",
                True,
                "the raw top",
            )
        return Zero(
            x,
            y,
            height,
            f"the raw top at {place}, before anything is cut in C",
            False,
            "the raw top",
        )

    def touch_stays(self, setup: Setup) -> bool:
        """Whether the touched place of a face is still there once the set-up's first file has been
        run.

        In A it lies on sound wood; in B the skim takes it away, in C the deck, but for a frame.
        """
        if setup != "C":
            return setup == "A"
        x, y = self.touch_place("C")
        blank, margin = self.job.blank, self.job.deck.margin
        return max(abs(x) - blank.length / 2, abs(y) - blank.width / 2) > -margin

    def touch_place(self, setup: Setup) -> tuple[float, float]:
        """Where a face is touched, in the set-up's own X, Y (the mirror image in B)."""
        return pose_of(self.job, setup).touch

    def _touch_words(self, setup: Setup) -> str:
        x, y = self.touch_place(setup)
        return f"X{mm(x):g} Y{mm(y):g} from the middle"


def stack_heights(
    job: Job, board: Board, blank: Blank | None = None, settled: Settled | None = None
) -> Stackup:
    """The stack-up of a job and its board with every pass of the skim down to the lowest plane.

    For a blank as measured or else as assumed; `settled` is what the as-cut record holds.
    `build_stackup` takes away the passes that must not be offered.
    """
    heights = Heights(job, blank or Blank.assumed(job), settled or Settled())
    highest, x, y = board.deck.highest_over(board.blank)
    lowest, _, _ = board.deck.lowest_over(board.blank)
    lowest_plane = round(highest + job.deck.clean_up, 4)
    castings = tuple(
        _casting_stack(casting, heights, board, lowest_plane) for casting in board.castings
    )
    weakest, weakest_at = _weakest_deck(heights, board, (highest, (x, y)))
    skim = _skim(heights, castings, lowest_plane)
    return Stackup(
        job=job,
        heights=heights,
        castings=castings,
        places=tuple(
            _place_stack(place, board, heights, skim.planned_plane) for place in board.places
        ),
        skim=skim,
        deck_highest=highest,
        deck_highest_at=(x, y),
        deck_lowest=lowest,
        weakest_deck=weakest,
        weakest_deck_at=weakest_at,
    )


def _weakest_deck(heights: Heights, board: Board, highest: tuple[float, At]) -> tuple[float, At]:
    """The deck's height and the place where the wood left by the skim may be least above it."""
    if not heights.blank.measured:
        return highest
    x, y = heights.blank.nodes()
    h = np.asarray(board.deck.height(x, y))
    room = heights.core_low(np.append(x, highest[1][0]), np.append(y, highest[1][1])) - np.append(
        h, highest[0]
    )
    k = int(np.argmin(np.round(room, 6)))
    return (
        highest
        if k == len(x) or room[k] >= room[-1] - 1e-6
        else (float(h[k]), (float(x[k]), float(y[k])))
    )


def _skim(heights: Heights, castings: tuple[CastingStack, ...], lowest_plane: float) -> SkimPlan:
    plane_error = heights.plane(0.0)
    shows = [
        casting.shows_at(heights, at) - plane_error
        for casting in castings
        for at in (casting.deepest_at, casting.shallowest_at)
    ]
    top = heights.blank.thickest.value
    if heights.face_flush is not None:
        top = min(top, heights.face_flush.top.worst()[1])
    skim, stop = heights.job.skim, (heights.settled.stop, heights.settled.stop_plane)
    return plan_skim(lowest_plane, skim.step, skim.largest_step, top, shows, *stop)


def _casting_stack(
    casting: Casting, heights: Heights, board: Board, lowest_plane: float
) -> CastingStack:
    job = heights.job
    operation = "groove" if casting.kind == "groove" else "plug-pockets"
    highest, x, y = board.deck.highest_over(casting.area)
    lowest, low_x, low_y = board.deck.lowest_over(casting.area)
    places = footprint_places(casting.area)
    depth = heights.mean_depth(casting.floor, operation, places, casting.id)
    deep, shallow = _depths(heights, casting, operation, places)
    uneven = heights.uneven(places)
    here = heights.poured_depth(casting.floor, operation, (x, y), casting.id)
    poured = heights.resin_low(casting.id, here - here.nominal + depth, casting.half_span, uneven)
    local = _local_flush(heights, casting)
    pour = CastingPour(
        id=casting.id,
        floor=casting.floor,
        depth=depth,
        volume=volume_of(casting.area.area, depth, job.cast.pour_short),
        p_expected=_flushed(heights, local, poured, (x, y)),
        p_poured=poured.nominal,
        p_limit=lowest_plane - highest - job.cast.fill_margin,
        area=casting.area.area,
        half_span=casting.half_span,
        uneven=uneven,
    )
    return CastingStack(
        casting=casting,
        operation=operation,
        places=places,
        deck_highest=highest,
        deck_lowest=lowest,
        highest_at=(x, y),
        lowest_at=(low_x, low_y),
        deepest_at=deep,
        shallowest_at=shallow,
        widest_gap_at=_at(places, heights.gap_upper(places)),
        pour=pour,
        flush=local,
    )


def _local_flush(heights: Heights, casting: Casting) -> LocalFlush | None:
    cast = heights.job.cast
    if cast.flush != "local":
        return None
    return heights.local_flush(
        casting.id, footprint_places(flush_area(casting.area, cast.flush_band))
    )


def _flushed(heights: Heights, local: LocalFlush | None, poured: Linear, at: At) -> Linear:
    """How far the resin lies below what is the raw top in B, after the flush where there is one."""
    if heights.face_flush is not None:
        return heights.face_flush.resin_low(poured, heights.came_top(at))
    return poured if local is None else local.resin_low(poured, heights.came_top(at))


def _depths(
    heights: Heights, casting: Casting, operation: str, places: NDArray[np.float64]
) -> tuple[At, At]:
    """The places of a footprint where the depth may be most and least."""
    nominal, error = heights.depth_over(casting.floor, operation, places, casting.id)
    return _at(places, nominal + error), _at(places, error - nominal)


def _at(places: NDArray[np.float64], value: NDArray[np.float64]) -> At:
    """The place where `value` is largest; of equals the first, so that no tie hangs on float
    noise."""
    x, y = places[int(np.argmax(np.round(value, 6)))]
    return float(x), float(y)


CLOSED = 0.1
"""mm of wood that a blind bore leaves above the bed in B, nominally (common practice, no
source)."""


def _past_the_deck(heights: Heights, plane: float, at: At) -> float:
    """How far a blind bore must pass the deck so that the deck pass opens it with every error
    against it.

    Half the clean-up where that is more. Bore and deck hang on touches of their own: the bore on
    the skimmed face, the deck on the bed, or on what the skim left where the face is touched.
    """
    opens = heights.seat(0.0) - heights.finished(0.0, plane, at)
    return max(heights.job.deck.clean_up / 2.0, opens.nominal - opens.worst()[0])


def _place_stack(place: Place, board: Board, heights: Heights, plane: float) -> PlaceStack:
    insert = place.insert
    middle = Point(place.x, place.y)
    seat = middle.buffer(place.seat / 2)
    bore = middle.buffer(place.bore / 2)
    over_seat = board.deck.lowest_over(seat)[0]
    over_bore = board.deck.lowest_over(bore)[0]
    highest = board.deck.highest_over(bore)[0]
    return PlaceStack(
        place=place,
        at=(place.x, place.y),
        seat_depth=insert.flange_thickness + insert.recess,
        bore_depth=min(
            highest + _past_the_deck(heights, plane, (place.x, place.y)), plane - CLOSED
        ),
        deck_over_seat=over_seat,
        deck_over_bore=over_bore,
        highest_over_bore=highest,
    )
