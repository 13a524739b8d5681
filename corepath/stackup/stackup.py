"""The stack-up: one object that holds every height, and the only place that works out a depth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corepath.board.features import Board, Casting, Place
from corepath.job.model import Job
from corepath.job.pose import pose_of
from corepath.job.record.settled import Settled
from corepath.lengths import mm
from corepath.motion.program import Found, Setup, System, Zero
from corepath.stackup.footprint_places import footprint_places
from corepath.stackup.height_table import HeightTable, height_table
from corepath.stackup.heights import At, Heights
from corepath.stackup.linear import Linear
from corepath.stackup.measuring.blank import Blank
from corepath.stackup.pour.flush import LocalFlush, flush_area
from corepath.stackup.pour.pour import CastingPour, volume_of
from corepath.stackup.skim import SkimPlan, lowest_plane, plan_skim
from corepath.stackup.stacks import CastingStack, PlaceStack

__all__ = ["Stackup", "stack_heights"]


@dataclass(frozen=True, slots=True)
class Stackup:
    """The stack-up of one job: every height, mm, nominal, above the bed of the set-up named.

    `heights` gives the same with their errors; `skim` the passes; `deck_highest` and `deck_lowest`
    the designed deck over the whole blank.
    """

    job: Job
    heights: Heights
    castings: tuple[CastingStack, ...]
    places: tuple[PlaceStack, ...]
    skim: SkimPlan
    deck_highest: float
    deck_lowest: float
    weakest_deck: float = 0.0
    """The deck where least may be left to remove. That is the highest deck, unless the raw top may
    stand off the bed in B elsewhere."""
    weakest_deck_at: At = (0.0, 0.0)
    withheld: tuple[str, ...] = ()
    """In plain words, why passes of the skim below the planned stop are not offered."""

    @property
    def table(self) -> HeightTable:
        """The heights that drawings, sheet, report and record show, by set-up and casting."""
        return height_table(
            self.heights,
            self.castings,
            self.places,
            self.skim,
            (self.deck_lowest, self.deck_highest),
        )

    @property
    def blank_top(self) -> float:
        """The highest that the raw top may stand in A, or the raw bottom in B, mm above the bed.

        That is the thickest blank with the largest gap under it; rapids must clear it.
        """
        return self.heights.blank.thickest.value + self.job.tolerances.flat

    @property
    def thickest_stock(self) -> float:
        """The highest that the raw top may stand in C, mm above the bed: after the earliest stop,
        with the largest gap under it."""
        return self.skim.thickest_plane + self.job.tolerances.flat

    def clear(self, setup: Setup, top: float) -> float:
        """Return the safe height, mm above the bed: safe_z over stock, obstacles and screw heads.

        `top` is the highest that the stock may stand in this set-up.
        """
        highest = max((o.height for o in self.job.obstacle if setup in o.setups), default=0.0)
        proud = [
            screw.head_height - screw.counterbore
            for screw in self.job.screw
            if setup in screw.setups
        ]
        # Screw heads stand on the stock, obstacles on the bed.
        top += max([0.0, *proud])
        return max(top, highest) + self.job.machine.safe_z

    def zero(self, setup: Setup, operation: str) -> Zero:
        """Return the work zero of an operation in the bed frame of its set-up."""
        pose = pose_of(self.job, setup)
        by: Found = "dowels" if setup != "A" else self._found_in_a(operation)
        zero = self._touched(setup, operation, *pose.zero)
        return replace(zero, by=by, dowels=tuple(pose.place(*dowel.at) for dowel in self.job.dowel))

    def _found_in_a(self, operation: str) -> Found:
        """Return how X and Y are found in A. Only the file that makes the dowel holes may find them
        from an edge, or from holes of the dowels that are in the bed; the others keep that zero."""
        if operation != "dowels":
            return "kept"
        there = any(dowel.in_bed == "there" for dowel in self.job.dowel)
        return "pins" if there else "edges"

    def _touched(self, setup: Setup, operation: str, x: float, y: float) -> Zero:
        """Return the zero with the face that Z is touched on, and its nominal height there."""
        # Seats are measured from the skimmed face, whatever pass the skim stopped at, so their zero
        # is that face even in a job that otherwise touches the bed. Z0 then means another height
        # than before in set-up B, hence a coordinate system of its own where the control has one.
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
        """Return whether the touched place is still there after the first file of the set-up.

        In A it lies on sound wood. In B the skim cuts it away. In C the deck pass does, unless it
        lies on the frame that is left along the edge of the blank.
        """
        if setup != "C":
            return setup == "A"
        x, y = self.touch_place("C")
        blank, margin = self.job.blank, self.job.deck.margin
        return max(abs(x) - blank.length / 2, abs(y) - blank.width / 2) > -margin

    def touch_place(self, setup: Setup) -> tuple[float, float]:
        """Return where a face is touched, mm in the bed frame (in B at the mirror image)."""
        return pose_of(self.job, setup).touch

    def _touch_words(self, setup: Setup) -> str:
        x, y = self.touch_place(setup)
        return f"X{mm(x):g} Y{mm(y):g} from the middle"


def stack_heights(
    job: Job, board: Board, blank: Blank | None = None, settled: Settled | None = None
) -> Stackup:
    """Work out the stack-up of a job, with every pass of the skim down to the lowest plane.

    `blank` is the blank as measured (assumed from the job if None), `settled` what the as-cut
    record holds. `make_stackup.build_stackup` then leaves out the passes that must not be offered.
    """
    heights = Heights(job, blank or Blank.assumed(job), settled or Settled())
    highest, x, y = board.deck.highest_over(board.blank)
    lowest, _, _ = board.deck.lowest_over(board.blank)
    last = lowest_plane(job, highest)
    castings = tuple(_casting_stack(casting, heights, board, last) for casting in board.castings)
    skim = _skim(heights, castings, last)
    weakest, weakest_at = _weakest_deck(heights, board, (highest, (x, y)), skim.planned_plane)
    return Stackup(
        job=job,
        heights=heights,
        castings=castings,
        places=tuple(
            _place_stack(place, board, heights, skim.planned_plane) for place in board.places
        ),
        skim=skim,
        deck_highest=highest,
        deck_lowest=lowest,
        weakest_deck=weakest,
        weakest_deck_at=weakest_at,
    )


def _weakest_deck(
    heights: Heights, board: Board, highest: tuple[float, At], stop: float
) -> tuple[float, At]:
    """Return height and place of the deck where the skim to `stop` may leave least wood over it."""
    # Nothing tells one place of an assumed blank from another: the highest deck is the weakest.
    if not heights.blank.measured and not heights.settled.thickness_after:
        return highest
    x, y = heights.blank.nodes()
    h = np.asarray(board.deck.height(x, y))
    (at_x, at_y), h_of_all = highest[1], np.append(h, highest[0])
    room = heights.core_low(stop, np.append(x, at_x), np.append(y, at_y)) - h_of_all
    k = int(np.argmin(np.round(room, 6)))
    # The exact highest place was appended last. A node of the grid takes its place only where it is
    # weaker by more than noise, so that a flat blank gives the same place as an assumed one.
    return (
        highest
        if k == len(x) or room[k] >= room[-1] - 1e-6
        else (float(h[k]), (float(x[k]), float(y[k])))
    )


def _skim(heights: Heights, castings: tuple[CastingStack, ...], last: float) -> SkimPlan:
    # plane + error <= shows is asked as plane <= shows - error: planes can then stay plain numbers.
    plane_error = heights.plane(0.0)
    shows = [
        casting.shows_at(heights, at) - plane_error
        for casting in castings
        for at in (casting.deepest_at, casting.shallowest_at)
    ]
    top = heights.blank.thickest.value
    # A flush of the whole face has made the blank thinner: no pass above what it left.
    if heights.face_flush is not None:
        top = min(top, heights.face_flush.top.worst()[1])
    settled = heights.settled
    return plan_skim(last, heights.job.skim, top, shows, settled.stop, settled.stop_plane)


def _casting_stack(casting: Casting, heights: Heights, board: Board, last: float) -> CastingStack:
    job = heights.job
    operation = "groove" if casting.kind == "groove" else "plug-pockets"
    highest, x, y = board.deck.highest_over(casting.area)
    lowest, low_x, low_y = board.deck.lowest_over(casting.area)
    places = footprint_places(casting.area)
    depth = heights.mean_depth(casting.floor, operation, places, casting.id)
    deep, shallow = _depths(heights, casting, operation, places)
    uneven = heights.uneven(places)
    # Fill is judged where the deck over the casting is highest: errors of D are those of that
    # place, but the resin lost goes by the mean depth, since the liquid levels out.
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
        p_limit=last - highest - job.cast.fill_margin,
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
    """Return p as it is in B, after the flush where there is one; `at` is the place judged."""
    if heights.face_flush is not None:
        return heights.face_flush.resin_low(poured, heights.came_top(at))
    return poured if local is None else local.resin_low(poured, heights.came_top(at))


def _depths(
    heights: Heights, casting: Casting, operation: str, places: NDArray[np.float64]
) -> tuple[At, At]:
    """Return the places of a footprint where D may be largest and least, its error counted."""
    _, low, high = heights.depth_over(casting.floor, operation, places, casting.id)
    return _at(places, high), _at(places, -low)


def _at(places: NDArray[np.float64], value: NDArray[np.float64]) -> At:
    """Return the place where `value` (n,) is largest, of equal ones the first.

    Rounded to 1e-6 mm, so that which of two equal places is taken does not depend on float noise.
    """
    x, y = places[int(np.argmax(np.round(value, 6)))]
    return float(x), float(y)


CLOSED = 0.1
"""mm of wood that a blind bore leaves above the bed in B, nominally (common practice, no
source)."""


def _past_the_deck(heights: Heights, plane: float, at: At) -> float:
    """Return how far past the deck a blind bore must end so that the deck pass surely opens it, mm.

    At least half the clean-up, by design.
    """
    # Depth of the bore and height of the deck come from two touches: the bore from the skimmed
    # face, the deck from the bed (or from what the skim left where the face is touched). Their
    # difference at nominal 0 holds just the errors of both.
    opens = heights.seat(0.0) - heights.finished(0.0, plane, at)
    return max(heights.job.deck.clean_up / 2.0, opens.nominal - opens.worst()[0])


def _place_stack(place: Place, board: Board, heights: Heights, plane: float) -> PlaceStack:
    insert = place.insert
    over_seat = board.deck.lowest_over(place.seat.area)[0]
    over_bore = board.deck.lowest_over(place.bore_area)[0]
    highest = board.deck.highest_over(place.bore_area)[0]
    return PlaceStack(
        place=place,
        at=(place.x, place.y),
        seat_depth=insert.flange_thickness + insert.recess,
        # Some wood stays over the bed in B: vacuum holds better under a blank without holes.
        bore_depth=min(
            highest + _past_the_deck(heights, plane, (place.x, place.y)), plane - CLOSED
        ),
        deck_over_seat=over_seat,
        deck_over_bore=over_bore,
        highest_over_bore=highest,
    )
