"""From job, board and stack-up to the list of works, in the order they are cut.

Here the geometry of the board frame is turned into the bed frame of each set-up: B is mirrored by
the flip.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

from shapely import Polygon

from corepath.board.features import Board, Casting
from corepath.errors import Fault
from corepath.geometry.step_counts import fewest_steps
from corepath.job.model import DowelSection, Job
from corepath.job.pose import pose_of
from corepath.lengths import mm
from corepath.motion.cutter import DECK_SHAPES, Cutter
from corepath.motion.program import Setup
from corepath.stackup.pour.flush import flush_area, flush_parts
from corepath.stackup.stacks import PlaceStack
from corepath.stackup.stackup import Stackup
from corepath.work.approach import with_approaches
from corepath.work.checks.feed_checks import feed_checks
from corepath.work.cutting.cutters import Chosen, Need, candidates, choose
from corepath.work.cutting.deck_cutter import choose_deck
from corepath.work.cutting.deck_rough import rough_left
from corepath.work.cutting.hole_cutters import HolePart, drill_watch, hole_parts
from corepath.work.cutting.pairs import Share, shares
from corepath.work.cutting.running import FINISH_DEPTH, CutRequest
from corepath.work.cutting.waste import finished_area
from corepath.work.dowel_lengths import dowel_words
from corepath.work.holding import margin_fault, standing, with_uncut
from corepath.work.keepoff import opened_by, park_clear, spared
from corepath.work.laid_works import after_layup, bed_below, laminate_at
from corepath.work.least_time.minutes import least_time
from corepath.work.one_touch import one_touch, only_cutter
from corepath.work.works import (
    Deck,
    Facing,
    FileOf,
    Hole,
    Milling,
    Opening,
    Pocket,
    Step,
    Work,
)

__all__ = ["build_works", "milling_of"]

ROUGH_LEAVE = 0.4
"""mm; least that roughing leaves on the deck for the finishing cutter (common practice, no
source)."""

MOST_LEAVE = 1.0
"""mm; most that it leaves, where that saves a layer."""

PROUD_ROOM = 1.0
"""mm by which proud resin may stand above the pour line at the low end of a tilt; the first layer
of a flush begins there."""

FLUSH_WATCH = ("only when the resin is hard", "the blank lies as it did for the groove")

GOUGE = 0.01
"""mm by which the deck may be cut below its surface."""


def build_works(job: Job, board: Board, stack: Stackup) -> tuple[tuple[Work, ...], list[Fault]]:
    """All works in order, and the faults where no listed cutter fits (those works are left out)."""
    builder = _Builder(job, board, stack)
    for step in (
        builder.dowels,
        builder.plugs,
        builder.groove,
        builder.flush,
        builder.skim,
        builder.inserts,
        builder.deck,
    ):
        step()
    laid, unfit = after_layup(job, board, builder.milling)
    machine = job.machine
    works = with_approaches(
        (*builder.works, *laid), builder.looked_at,
        safe_z=machine.safe_z, travel=machine.travel[2], rapid=machine.rapid, drop=bed_below(job,
            board),
    )  # fmt: skip
    return works, [*builder.faults, *unfit]


def milling_of(job: Job) -> Milling:
    """What the paths of a job follow of its wishes and its machine."""
    wish, machine = job.milling, job.machine
    return Milling(
        conventional=wish.direction == "conventional",
        finish_allowance=wish.finish_allowance,
        light_layer=wish.light_layer,
        break_through=wish.break_through,
        canned=machine.canned_cycles,
        limits=machine.motion_limits,
    )


def _thin_watch(share: Share) -> list[str]:
    """Lines for the head: what to look out for over a thin floor, and which file comes before."""
    watch = []
    if share.chosen.cutter.helix == "up":
        watch.append(
            "up-cut flutes lift the thin floor: hold it down well, or list a down-cut cutter"
        )
    if share.part > 1:
        watch.append(
            "only what the larger cutter of the file before left; same blank, same X, Y zero"
        )
    return watch


@dataclass(frozen=True, slots=True)
class _Removes:
    """What a work removes, between `top` and `lowest`, mm above the bed (see `Work`)."""

    top: float
    lowest: float
    pockets: tuple[Pocket, ...] = ()
    holes: tuple[Hole, ...] = ()
    facing: Facing | None = None
    deck: Deck | None = None


class _Builder:
    def __init__(self, job: Job, board: Board, stack: Stackup) -> None:
        self.job, self.board, self.stack = job, board, stack
        self.works: list[Work] = []
        self.faults: list[Fault] = []
        self.milling = milling_of(job)
        self.finished = finished_area(job, board)
        self.table = stack.table

    def _chosen(self, need: Need) -> Chosen | None:
        chosen = choose(self.job, need)
        if isinstance(chosen, Fault):
            self.faults.append(chosen)
            return None
        return chosen

    def _add(self, work: Work) -> None:
        self.works.append(with_uncut(spared(work, self._core)))

    def _made(
        self, file: FileOf, chosen: Chosen, removes: _Removes, watch: Sequence[str] = ()
    ) -> Work:
        setup, top = file.setup, removes.top
        half_length, half_width = self.job.blank.length / 2, self.job.blank.width / 2
        return Work(
            order=file.order,
            setup=setup,
            name=file.name,
            cutter=chosen.cutter,
            cutting=chosen.cutting,
            zero=self.stack.zero(setup, file.name),
            blank=self.board.blank,
            stock_top=top,
            clear=self.stack.clear(setup, top),
            lowest=removes.lowest,
            park=park_clear(
                standing(self.job, self.stack, setup),
                half_length,
                half_width,
                self.job.machine.collet_diameter,
            ),
            arcs=self.job.machine.arcs,
            milling=self.milling,
            pockets=removes.pockets,
            holes=removes.holes,
            facing=removes.facing,
            deck=removes.deck,
            obstacles=standing(self.job, self.stack, setup),
            collet=self.job.machine.collet_diameter,
            watch=(*watch, *self._first_words(setup)),
            part=file.part,
        )

    def looked_at(self, work: Work) -> tuple[float, float, float]:
        """Where the tip is looked at before a work begins, and the nominal height of the blank
        there."""
        heights, plane = self.stack.heights, self.stack.skim.planned_plane
        if work.setup == "D":
            return laminate_at(self.job, self.board)
        x, y = self.stack.touch_place(work.setup)
        if work.name == "inserts":
            return x, y, work.zero.z
        known = {
            "A": heights.face_height,
            "B": heights.face_height_below,
            "C": heights.raw_top_after(plane),
        }
        return x, y, known[work.setup]

    def _first_words(self, setup: Setup) -> tuple[str, ...]:
        """What the head of a set-up's first file says besides."""
        if any(work.setup == setup for work in self.works):
            return ()
        return (dowel_words(self.stack, self.board, setup),)

    def dowels(self) -> None:
        top = self.stack.blank_top
        holes = tuple(
            Hole(
                f"dowel {k}",
                *dowel.at,
                top,
                (Step(dowel.diameter, -self._depth_in_bed(dowel)),),
                breaks_through=0.0,
            )
            for k, dowel in enumerate(self.board.dowels, start=1)
        )
        into = {
            "drill": "passes through the blank into the spoil board",
            "there": "passes through the blank into holes that are there in the spoil board: no "
            "pin may stand in them",
        }
        watch = [into[kind] for kind in sorted({dowel.in_bed for dowel in self.board.dowels})]
        watch.append("set the dowels before the next file")
        parts = hole_parts(self.job, "the dowel holes", "dowel", holes, True)
        self._holes(FileOf(1, "A", "dowels"), parts, top, watch)

    def _depth_in_bed(self, dowel: DowelSection) -> float:
        """How far below the bed the hole of a dowel is cut: where one is there, only clear of the
        blank."""
        there = dowel.in_bed == "there"
        return self.job.milling.into_bed if there else dowel.depth_in_bed

    def _holes(
        self, file: FileOf, parts: list[HolePart] | Fault, top: float, watch: list[str]
    ) -> None:
        """A work for each cutter of an operation of holes."""
        if isinstance(parts, Fault):
            self.faults.append(parts)
            return
        for part, made in enumerate(parts, start=1):
            lowest = min(hole.steps[-1].floor for hole in made.holes)
            removes = _Removes(top, lowest, holes=made.holes)
            says = [*watch, *drill_watch(made.chosen.cutter)]
            self._add(self._made(replace(file, part=part), made.chosen, removes, says))

    def plugs(self) -> None:
        castings = [casting for casting in self.board.castings if casting.plug is not None]
        if not castings:
            return
        widths = [casting.plug.diameter for casting in castings if casting.plug is not None]
        depth = self.table.depths(casting.id for casting in castings)[1]
        need = Need(
            "the plug pockets",
            ("flat",),
            min(widths),
            depth,
            "plug",
            CutRequest(wall=min(widths) / 2.0),
            thin=True,
        )
        watch = [f"thin floor: {mm(self.job.groove.least_floor):g} of wood at least must be left"]
        self._pockets(2, "plug-pockets", need, castings, watch)

    def groove(self) -> None:
        groove = self.board.castings[0]
        width = self.job.groove.width
        depth = self.table.depths([groove.id])[1]
        need = Need(
            "the groove", ("flat",), width, depth, "groove", CutRequest(wall=math.inf), thin=True
        )
        watch = [f"thin floor; hold island and rim each on its own ({self.job.hold.A})"]
        self._pockets(3, "groove", need, [groove], watch)

    def _pockets(
        self, order: int, name: str, need: Need, castings: Sequence[Casting], watch: Sequence[str]
    ) -> None:
        """The works of castings that are cut in A: one, or one for each of two cutters."""
        usual = self._chosen(need)
        if usual is None:
            return
        top, lowest = self.stack.blank_top, min(casting.floor for casting in castings)
        pockets = tuple(
            Pocket(casting.id, casting.area, top, casting.floor) for casting in castings
        )

        def made(share: Share) -> Work:
            file, removes = (
                FileOf(order, "A", name, share.part),
                _Removes(top, lowest, share.pockets),
            )
            return self._made(file, share.chosen, removes, [*watch, *_thin_watch(share)])

        def minutes(share: Share) -> float:
            work = made(share)
            # A larger cutter than the width asks for must be run as safely as that one.
            if share.chosen.cutter.diameter > usual.cutter.diameter and not _gentle(
                self.job, work, made(Share(usual, pockets))
            ):
                return math.inf
            return least_time(work, self.milling.limits).minutes

        others = candidates(self.job, need)
        before = self.works[-1] if self.works else None
        for share in shares(
            usual,
            others,
            pockets,
            minutes,
            fitted=before.cutter.number if before is not None and before.setup == "A" else None,
            leave=self.milling.finish_allowance,
        ):
            self._add(made(share))

    def flush(self) -> None:
        job, stack = self.job, self.stack
        kind = job.cast.flush
        if kind == "none":
            return
        top = stack.blank_top + max(0.0, PROUD_ROOM - job.cast.pour_short)
        asked = CutRequest(1.0 - job.skim.overlap, resin=True)
        if kind == "face":
            chosen = self._chosen(Need("the flush", ("flat",), None, 0.0, "cast.flush", asked))
            plane = stack.heights.face_flush
            if chosen is None or plane is None:
                return
            facing = Facing(self.board.blank, top, (round(plane.plane, 6),), 0)
            removes = _Removes(top, plane.plane, facing=facing)
            self._add(self._made(FileOf(4, "A", "flush"), chosen, removes, FLUSH_WATCH))
            return
        width = (
            min(c.casting.plug.diameter for c in stack.castings if c.casting.plug)
            if job.plug
            else 1e9
        )
        width = min(width, job.groove.width) + 2 * job.cast.flush_band
        chosen = self._chosen(Need("the flush", ("flat",), width, 0.0, "cast.flush", asked))
        if chosen is None:
            return
        lowest = round(min(c.flush.plane for c in stack.castings if c.flush is not None), 6)
        bands = [flush_area(c.casting.area, job.cast.flush_band) for c in stack.castings]
        # Bands that touch are planed together, with necks between them that the cutter could not
        # follow.
        areas = flush_parts(bands, chosen.cutter.radius)
        pockets = tuple(
            Pocket(f"flush {k}", area, top, lowest, thin=False, proud=True)
            for k, area in enumerate(areas, start=1)
        )
        removes = _Removes(top, lowest, pockets)
        self._add(self._made(FileOf(4, "A", "flush"), chosen, removes, FLUSH_WATCH))

    def skim(self) -> None:
        plan, top = self.stack.skim, self.stack.blank_top
        asked = CutRequest(1.0 - self.job.skim.overlap)
        deepest = max(above - below for above, below in pairwise((top, *plan.planes)))
        need = Need("the skim", ("flat", "bull"), None, deepest, "skim", asked)
        chosen = self._chosen(need)
        if chosen is None:
            return
        facing = Facing(self.board.blank, top, plan.planes, plan.first_stop - 1)
        watch = [
            "stop when the casting shows full width all round and at every plug; keep hands "
            "clear until the spindle has stopped"
        ]
        removes = _Removes(top, plan.planes[-1], facing=facing)
        self._add(self._made(FileOf(5, "B", "skim"), chosen, removes, watch))

    def inserts(self) -> None:
        places, plan = self.stack.places, self.stack.skim
        if not places:
            return
        top = plan.planned_plane
        holes = tuple(self._hole(place, top) for place in places)
        watch = ["touch the skimmed face; the file serves whatever pass the skim stopped at"]
        parts = hole_parts(self.job, "the inserts", "insert", holes, False)
        self._holes(FileOf(6, "B", "inserts"), parts, top, watch)

    def _hole(self, stack: PlaceStack, top: float) -> Hole:
        place, plan = stack.place, self.stack.skim
        x, y = pose_of(self.job, "B").place(place.x, place.y)
        through = place.insert.through
        bore_floor = (
            top - (plan.thickest_plane + self.job.milling.into_bed)
            if through
            else top - stack.bore_depth
        )
        steps = (
            Step(place.insert.seat_width, top - stack.seat_depth, spring=True),
            Step(place.bore, bore_floor),
        )
        return Hole(
            place.id, x, y, top, steps, breaks_through=top - plan.judged_plane if through else None
        )

    def deck(self) -> None:
        job, surface, top = self.job, self.board.deck, self.stack.thickest_stock
        lowest = self.stack.deck_lowest
        raw = top - lowest
        area = self._framed_area()
        openings = tuple(self._opening(place, top) for place in self.stack.places)
        whole = Deck(
            area,
            surface,
            top,
            job.deck.scallop,
            GOUGE,
            0.0,
            job.deck.margin > 0.0,
            openings=openings,
            deepest=raw,
            finished=self.finished,
            outline=self.board.outline,
        )
        # Finishing is planned for what roughing really leaves, and that hangs on the roughing
        # cutter: so roughing is chosen first.
        rough = self._roughing(whole, top, lowest, job) if raw > FINISH_DEPTH else None
        left = raw if rough is None or rough.deck is None else rough_left(rough, rough.deck)

        def passes(cutter: Cutter, sure: bool) -> bool:
            return self._passes_frame(cutter) and self._reaches_core(
                whole, cutter, top, lowest, sure
            )

        passes_by = (partial(passes, sure=True), partial(passes, sure=False))

        finish = choose_deck(job, surface, self.board.blank.bounds, passes_by, left, self.finished)
        if isinstance(finish, Fault):
            self.faults.append(finish)
            return
        # The face is gone after the first cutter, so a second one could not be touched off: both
        # must be the same. Choose again with that one alone, since it leaves another amount.
        if rough is not None and one_touch(job, self.stack) and rough.cutter != finish.cutter:
            job = only_cutter(job, finish.cutter.number)
            rough = self._roughing(whole, top, lowest, job)
            left = raw if rough is None or rough.deck is None else rough_left(rough, rough.deck)
            again = choose_deck(
                job, surface, self.board.blank.bounds, passes_by, left, self.finished
            )
            finish = finish if isinstance(again, Fault) else again
        self._frame_fault(finish.cutter)
        opened = None
        if rough is not None and rough.deck is not None:
            # Finishing is planned for the most that roughing leaves anywhere, so it may take as
            # much wherever no more stands, but never more than one of its layers.
            taken = min(left, finish.cutting.depth)
            self._add(replace(rough, deck=replace(rough.deck, one_go=taken)))
            if raw > finish.cutting.depth:
                # Corners that the wider roughing cutter did not enter hold more than one layer of
                # the finishing cutter: it keeps out of them.
                opened = opened_by(self.works[-1], finish.cutting.depth - rough.deck.rough)
        deck = replace(whole, grain_penalty=job.deck.grain_penalty, opened=opened, deepest=left)
        watch = [f"hold board and rim each on its own ({job.hold.C})", *self._waste_words(rough)]
        removes = _Removes(top, lowest, deck=deck)
        self._add(self._made(FileOf(8, "C", "deck"), finish, removes, watch))

    def _waste_words(self, rough: Work | None) -> Iterator[str]:
        """What the head of the last deck file says of the waste beyond what is finished."""
        if self.finished is None:
            return
        raw = self.stack.thickest_stock - self.stack.deck_lowest
        high = raw if rough is None or rough.deck is None else rough.deck.rough
        yield (
            f"finishes {mm(self.job.deck.beyond or 0.0):g} beyond the outline; waste outside stays "
            f"up to {mm(high):.2f} higher than the edge: skins may reach no farther"
        )

    def _roughing(self, whole: Deck, top: float, lowest: float, job: Job) -> Work | None:
        """The work that roughs the deck `whole` with one of the job's cutters; None where none is
        listed for it."""
        asked = CutRequest(1.0 - job.skim.overlap)
        rough = choose(job, Need("roughing the deck", DECK_SHAPES[::-1], None, 0.0, "deck", asked))
        if isinstance(rough, Fault):
            self.faults.append(rough)
            return None
        deck = replace(whole, rough=_rough_leave(top - lowest, rough.cutting.depth))
        removes = _Removes(top, lowest, deck=deck)
        return self._made(FileOf(7, "C", "deck-rough"), rough, removes)

    def _opening(self, stack: PlaceStack, top: float) -> Opening:
        place = stack.place
        return Opening(
            place.id,
            place.x,
            place.y,
            place.bore,
            top if place.insert.through else stack.bore_depth,
        )

    def _passes_frame(self, cutter: Cutter) -> bool:
        return self.job.deck.margin == 0.0 or margin_fault(self.job, self.board, cutter) is None

    def _reaches_core(
        self, whole: Deck, cutter: Cutter, top: float, lowest: float, sure: bool
    ) -> bool:
        """Whether frame and obstacles let a cutter finish all of the board and its casting.

        `sure`: it must be sure by the nodes of the deck; otherwise what is doubtful passes.
        """
        if not standing(self.job, self.stack, "C") and not whole.framed:
            return True
        # Where a cutter comes depends on its shape alone, so any feeds will do.
        any_feeds = self.works[-1].cutting
        tried = spared(
            self._made(
                FileOf(8, "C", "deck"),
                Chosen(cutter, any_feeds),
                _Removes(top, lowest, deck=whole),
            ),
            # Outside the core a doubtful place counts as not reached: an empty core makes it so
            # everywhere.
            Polygon() if sure else self._core,
        )
        spare = None if tried.deck is None else tried.deck.spare
        return spare is None or not spare.intersects(self._core)

    @property
    def _core(self) -> Polygon:
        """Board and the casting round it, as they lie in A and C."""
        return Polygon(self.board.ring.exterior)

    def _framed_area(self) -> Polygon:
        """What the frame leaves of the blank."""
        margin, blank = self.job.deck.margin, self.board.blank
        area: Polygon = blank.buffer(-margin, join_style="mitre") if margin > 0.0 else blank
        return area if not area.is_empty else blank

    def _frame_fault(self, cutter: Cutter) -> None:
        """A fault where the frame leaves the cutter no way round the groove."""
        found = margin_fault(self.job, self.board, cutter) if self.job.deck.margin > 0.0 else None
        if found is not None:
            self.faults.append(found)


def _gentle(job: Job, work: Work, usual: Work) -> bool:
    """Whether no check of feeds warns of `work` that does not warn of the `usual` one."""
    warned = {check.id for check in feed_checks(job, [usual]) if check.verdict != "ok"}
    return all(check.verdict == "ok" or check.id in warned for check in feed_checks(job, [work]))


def _rough_leave(depth: float, axial_depth: float) -> float:
    """What roughing leaves on, mm, for the fewest layers of at most `axial_depth` mm in stock of
    `depth` mm over the deck."""
    # As few layers as leaving MOST_LEAVE would need; then no more is left than these layers ask
    # for.
    layers = fewest_steps(depth - MOST_LEAVE, axial_depth)
    return round(max(ROUGH_LEAVE, depth - layers * axial_depth), 6)
