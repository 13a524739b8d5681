"""The whole read-back: every file read independently of the plan, and cut on a virtual blank
through the flips.

Order: A (dowels, plug pockets, groove), pour, flip, B (skim passes up to the planned one, the
further passes and the combined file each on a copy, inserts), flip, C (roughing, deck); then D
(trim, bolt holes) on the laid-up blank in its cradle. Zeros and cutters are derived from the blank
and the files; the plan's are only compared with them. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
import shapely

from corepath.gcode.read.arcs import lengths
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.read_program import ReadProgram
from corepath.plain_text import sha256_of
from corepath.readback.cutting import Cutting, check_outside, cut_path
from corepath.readback.inspection import Done, Inspection
from corepath.readback.judging import (
    check_motions,
    check_ways_down,
    engaged,
    may_touch,
    measure_deck,
    measure_work,
)
from corepath.readback.motion.first_way import Zeroed
from corepath.readback.motion.stops import check_turn
from corepath.readback.one_file import Mounted, cut_file
from corepath.readback.plan_files import PlanFiles
from corepath.readback.remaining import KeptSetups
from corepath.readback.result import FileCount, ReadBack, Span
from corepath.readback.simulation_setup import SimulationSetup
from corepath.readback.steps import StockSnapshots
from corepath.readback.surfaces.exact_deck import Swept, check_rim, prove_deck
from corepath.readback.surfaces.floors import (
    Singles,
    check_plane,
    inside,
    measure_showing,
    surface_heights,
    to_reach,
)
from corepath.readback.surfaces.hole_steps import is_open
from corepath.readback.surfaces.laid_blank import laid_stock
from corepath.readback.surfaces.left import (
    measure_edge,
    measure_floors,
    measure_left,
    measure_seats,
)
from corepath.readback.surfaces.measures import Measure, MeasureList
from corepath.readback.surfaces.passes import Passes
from corepath.readback.words.heads import check_heads
from corepath.readback.words.zeros import derive_zero, face_height, lowered, zeroed
from corepath.stock.material import NOWHERE, Mask, Stock
from corepath.stock.path import Path
from corepath.work.works import Deck, Facing, Work

__all__ = ["Run", "read_back"]

Progress = Callable[[str], None]


def _silent(file: str) -> None:
    """Default for `progress`: does nothing."""


def read_back(
    shop: SimulationSetup,
    works: Sequence[Work],
    files: PlanFiles,
    *,
    progress: Progress = _silent,
    steps: bool = False,
) -> ReadBack:
    """Read and cut all files of a plan, and compare what is left with `works`.

    With `steps` the blank before and after each file is kept too. `progress` is called with each
    file's name before it is read. Never raises for what a file holds.
    """
    run = Run(shop, files, progress, steps)
    run.check_digests()
    check_heads(files.texts, run.findings, files.plan)
    ordered = sorted(works, key=lambda work: (work.setup, work.order, work.part))
    for setup in "ABC":
        mine = [work for work in ordered if work.setup == setup]
        if not mine and setup != "A":
            break
        run.set_up(setup)
        for work in mine:
            run.operation(work)
            run.behind.append(work)
        if setup == "C":
            run.prove(mine)
        elif run.program is not None:
            check_turn(run.program, run.findings)
        run.left(setup, ordered)
        run.remaining.keep(run.stock, setup)
    run.open_bores(ordered)
    run.after_layup([work for work in ordered if work.setup == "D"])
    run.strangers()
    return ReadBack(
        run.findings, tuple(run.measures), tuple(run.counts), run.remaining,
        steps=tuple(run.film.steps),
        travelled=run.travelled,
    )  # fmt: skip


class Run:
    """The state of one read-back: the blank as it is now and what was found so far."""

    def __init__(
        self,
        shop: SimulationSetup,
        files: PlanFiles,
        progress: Progress = _silent,
        steps: bool = False,
        stock: Stock | None = None,
    ) -> None:
        self.shop = shop
        self.files = files
        self.progress = progress
        self.stock = stock or Stock(shop.length, shop.width, shop.thickness, shop.cell, shop.lies)
        self.findings = Findings()
        self.measures: list[Measure] = []
        self.counts: list[FileCount] = []
        self.remaining = KeptSetups()
        self.film = StockSnapshots(steps)
        self.travelled: dict[str, Span] = {}
        self.used: set[str] = set()
        self.face = shop.thickness
        self.castings: dict[str, Mask] = {}
        self.heights: tuple[int, Singles] | None = None
        self.behind: list[Work] = []
        self.ground: float | Singles = 0.0
        self.surfaced: dict[str, Path] = {}
        self.program: ReadProgram | None = None
        self.zeroed: Zeroed | None = None
        self.old: Zeroed | None = None
        self.fitted: int | None = None  # the cutter of the file before
        self.touched_with: int | None = None

    def check_digests(self) -> None:
        """Report files whose text is not the one that the plan's report has the digest of."""
        for name, stated in sorted(self.files.sha256.items()):
            text = self.files.texts.get(name)
            if text is not None and sha256_of(text) != stated:
                self.findings.add("changed", "not the file that was planned", file=name)

    def set_up(self, setup: str) -> None:
        """Begin a set-up: pour after A, flip, and touch the upper face."""
        if setup == "B":
            self._pour()
        if setup != "A":
            # Into B it is flipped onto the raw top, which the hold-down draws flat however it was
            # bowed; into C onto the planed face.
            self.stock.flip(self.shop.flip_about, self.stock.raw if setup == "B" else None)
            axis = 0 if self.shop.flip_about == "x" else 1
            self.castings = {
                name: np.ascontiguousarray(np.flip(mask, axis))
                for name, mask in self.castings.items()
            }
        self.face = face_height(self.stock, self.shop, setup)
        self.touched_with = None

    def _pour(self) -> None:
        """Fill the castings, once: before a flush, or else before the flip."""
        if self.castings:
            return
        for name, pour in self.shop.pour.items():
            # Two cells wider than the pocket, so that resin reaches its wall wherever the columns
            # stand; `Stock.pour` fills only those that were cut.
            mask = inside(self.stock, shapely.buffer(pour.area, 2.0 * self.stock.grid.cell))
            self.stock.pour(mask, pour.below)
            self.castings[name] = inside(self.stock, pour.area)

    def _floors(self) -> None:
        """Measure the wood under each casting, while none is poured."""
        if self.castings:
            return
        measures = MeasureList("after A")
        areas = {name: pour.area for name, pour in self.shop.pour.items()}
        measure_floors(self.stock, areas, measures)
        self.measures.extend(measures)

    def operation(self, work: Work) -> None:
        """Cut all files of one operation; one that the shop has done counts as cut as its work
        asks."""
        self.old, self.zeroed = self.zeroed, zeroed(work, self.shop, self._zero(work))
        if work.setup == "D" and self.shop.laid is not None:
            self.old = lowered(self.old, self.shop.laid)
        if work.name == "flush":
            self._floors()
            self._pour()
        if work.name in self.shop.done:
            self._as_cut(work)
            return
        if work.facing is not None and work.name == "flush":
            self._facing(work, f"{work.stem}.nc", self.stock, work.facing.planes[0])
            self.stock.lower_raw(work.facing.planes[0])
            return
        if work.facing is not None:
            self._skim(work)
            return
        name = f"{work.stem}.nc"
        done = self._file(work, name, self.stock)
        if done is None:
            return
        if work.deck is not None:
            self.surfaced[work.stem] = done.path
        self._judge(work, done)
        self._close(done)

    def _zero(self, work: Work) -> tuple[float, float, float]:
        """Return the zero of a work on the bed, by the blank as it is now."""
        now = face_height(self.stock, self.shop, work.setup)
        return derive_zero(work, self.shop, self.face, now)

    def _as_cut(self, work: Work) -> None:
        for pocket in work.pockets:
            self.stock.carve(inside(self.stock, pocket.area), pocket.floor)
        for hole in work.holes:
            for step in hole.steps:
                self.stock.carve(
                    self.stock.grid.near(hole.x, hole.y, step.diameter / 2), step.floor
                )
        if work.facing is not None:
            last = (
                self.shop.planned_pass - 1 if work.name == "skim" else len(work.facing.planes) - 1
            )
            self.stock.carve(np.ones_like(self.stock.top, dtype=np.bool_), work.facing.planes[last])
            if work.name == "flush":
                self.stock.lower_raw(work.facing.planes[last])
            self._saw_off(work.facing)
        if work.deck is not None:
            level = self._surface(work.deck) + np.float32(work.deck.rough)
            cut = inside(self.stock, work.deck.asked if work.deck.rough <= 0.0 else work.deck.area)
            self.stock.carve(cut, level)

    def _skim(self, work: Work) -> None:
        """Cut each skim pass on what the one before left; those after the planned one on a copy,
        and the combined file on the blank as it was before them all."""
        assert work.facing is not None
        raw, old, fitted = self.stock.lay_aside(), self.old, self.fitted
        running = self.stock
        for number, plane in enumerate(work.facing.planes, 1):
            if number == self.shop.planned_pass + 1:
                running = self.stock.copy()
            self._facing(work, f"{work.stem}-pass-{number}.nc", running, plane)
            self.old = None  # the next pass goes on under the zero of the first
        self.old, self.fitted = old, fitted
        del running  # the blank after the last pass: it takes as much room as the next
        self._all_passes(work, work.facing, raw.stock())
        self._saw_off(work.facing)

    def _saw_off(self, facing: Facing) -> None:
        """Remove what obstacles kept the skim from, if the job says that it is sawn off before the
        next set-up."""
        if facing.sawn is not None:
            self.stock.carve(
                inside(self.stock, shapely.buffer(facing.sawn, self.shop.allowed.edge)), NOWHERE
            )

    def _facing(self, work: Work, name: str, stock: Stock, plane: float) -> None:
        done = self._file(work, name, stock)
        if done is not None:
            self._planed(work, plane, done)

    def _all_passes(self, work: Work, facing: Facing, stock: Stock) -> None:
        """Cut the file of all passes, which stops between them; each plane is checked when its pass
        ends."""
        name, before = f"{work.stem}-all.nc", stock.top.copy()
        passes = Passes(facing.planes, max(facing.first_stop, 0), work.cutting.depth)
        # Measures are of the last plane alone; those between count only where they are wrong.
        between, unsaid = Findings(name), MeasureList(name)

        def look(plane: float, path: Path, stock: Stock) -> None:
            seen = Inspection(path, stock, before, self.shop.allowed, unsaid, between)
            self._check_planed(work, plane, seen)

        done = self._file(work, name, stock, partial(passes.cut, after=look))
        if done is not None:
            done.findings.extend(between)
            passes.check_stops(done.path, done.findings)
            self._planed(work, facing.planes[-1], done)

    def _planed(self, work: Work, plane: float, done: Done) -> None:
        """Check the blank at the end of a file that planes it, and take over the result."""
        self._check_planed(work, plane, done)
        measure_showing(done.stock, self.castings, self.shop.allowed.shows, done.measures)
        self._close(done)

    def _check_planed(self, work: Work, plane: float, seen: Inspection) -> None:
        """Check the whole face against one plane, and that it reaches the blank's very edge."""
        assert work.facing is not None
        within = to_reach(seen.stock, work.blank, work.facing.spare, seen.allowed.edge)
        check_plane(plane, seen, within)
        check_rim(plane, work.blank, work.facing.spare, seen)

    def _file(
        self, work: Work, name: str, stock: Stock, cutting: Cutting = cut_path
    ) -> Done | None:
        """Read one file, place it on the bed, and cut it; None where it is missing."""
        self.used.add(name)
        if name not in self.files.texts:
            self.findings.add("missing-file", "the operation has no file", file=name)
            return None
        self.progress(name)
        self.program = self.files.program(name)
        shop, now = self.shop, self.zeroed
        assert now is not None
        there = face_height(stock, shop, work.setup) > self.face - shop.allowed.zero
        self.film.begin(work, now.place, stock)
        mounted = Mounted(stock, now, self.old, self.fitted)
        done = cut_file(work, self.program, self.files.texts[name], mounted, shop, cutting)
        self.fitted = done.path.cutter.number
        self._check_touch(work, done, there)
        self._travels(work.setup, done.path)
        return done

    def _travels(self, setup: str, path: Path) -> None:
        """Widen the rectangle of a set-up by all that a file travels."""
        if not len(path.pieces):
            return
        ends = np.vstack((path.pieces.lower, path.pieces.upper))[:, :2]
        (x0, y0), (x1, y1) = ends.min(axis=0).tolist(), ends.max(axis=0).tolist()
        a, b, c, d = self.travelled.get(setup, (x0, y0, x1, y1))
        self.travelled[setup] = min(a, x0), min(b, y0), max(c, x1), max(d, y1)

    def _check_touch(self, work: Work, done: Done, there: bool) -> None:
        """Check that no file asks to touch, with another cutter, a face that an earlier file of the
        set-up has cut away. `there`: the face was still there before this file."""
        cutter, shop = done.path.cutter.number, self.shop
        if (
            work.setup == "D"
            or work.name == "inserts"
            or shop.z_zero == "bed"
            or shop.length_offset
        ):
            return
        if self.touched_with is None or there:
            self.touched_with = cutter
        elif cutter != self.touched_with:
            says = (
                f"Z was touched with T{self.touched_with}; the face is cut away, T{cutter} cannot "
                "be touched on it"
            )
            done.findings.add("zero", says)

    def _judge(self, work: Work, done: Done) -> None:
        """Compare what the file leaves with what its operation was to leave."""
        check_outside(done, may_touch(work, self.stock, self.shop))
        found = engaged(work, done)
        if work.pockets or work.holes:
            check_ways_down(work, done, found)
        measure_work(work, done, found, self.shop)
        if work.deck is not None:
            measure_deck(work, done, self._surface(work.deck), self.behind)
        check_motions(work, done, self.behind)

    def _close(self, done: Done) -> None:
        """Take over measures and findings of one file, and add up its figures."""
        path, stock, measures = done.path, done.stock, done.measures
        # What goes below the bed (in D: below the underside) is not material of the blank.
        gone = np.maximum(done.before, self.ground) - np.maximum(stock.top, self.ground)
        program = path.program
        long = lengths(path.kind, path.start, path.end, path.centre)
        rapid = path.kind == 0
        self.counts.append(
            FileCount(
                file=measures.file,
                lines=program.lines,
                motions=program.count,
                cut_length=float(long[~rapid].sum()),
                rapid_length=float(long[rapid].sum()),
                removed=float(gone.sum(dtype=np.float64)) * stock.grid.px * stock.grid.py,
                deepest=float(done.cut.deep.max(initial=0.0)),
            )
        )
        self.measures.extend(measures)
        self.findings.extend(done.findings)
        self.film.end(measures.file, path, stock)

    def _surface(self, deck: Deck) -> Singles:
        """Return h at every column [iy, ix]; kept from roughing to finishing, which share it."""
        key = id(deck.surface)
        if self.heights is None or self.heights[0] != key:
            self.heights = (key, surface_heights(self.stock, deck.surface))
        return self.heights[1]

    def after_layup(self, works: Sequence[Work]) -> None:
        """Take the laid-up blank in its cradle, and cut what is cut there."""
        if not works or self.shop.laid is None:
            return
        self.stock = laid_stock(self.shop.laid, self.shop.cell)
        self.ground = self.stock.wood_bottom.copy()
        for work in works:
            if work.name not in self.shop.done:
                self.operation(work)
        self.remaining.keep(self.stock, "D")

    def left(self, setup: str, works: Sequence[Work]) -> None:
        """Measure what is left after a set-up."""
        measures, shop = MeasureList(f"after {setup}"), self.shop
        if setup == "A":
            self._floors()
        board = None if shop.outline is None else shop.mirrored_area(shop.outline, setup)
        measure_left(self.stock, board, shop.seats.values() if setup == "C" else (), measures)
        if setup == "C":
            measure_seats(self.stock, shop.seats, shop.bores, measures)
            measure_edge(self.stock, board, self.castings, measures)
        self.measures.extend(measures)

    def prove(self, works: Sequence[Work]) -> None:
        """Prove the deck: all files that surface it together, solved exactly at many points."""
        rough = [
            self.surfaced[w.stem]
            for w in works
            if w.stem in self.surfaced and w.deck and w.deck.rough > 0.0
        ]
        finish = [w for w in works if w.stem in self.surfaced and w.deck and w.deck.rough == 0.0]
        if not finish:
            return
        name = f"{finish[-1].stem}.nc"
        findings, measures = Findings(name), MeasureList(name)
        deck = finish[-1].deck
        assert deck is not None
        swept = Swept([self.surfaced[work.stem] for work in finish], deck.top, rough)
        prove_deck(deck, swept, self.shop.allowed, measures, findings)
        self.measures.extend(measures)
        self.findings.extend(findings)

    def open_bores(self, works: Sequence[Work]) -> None:
        """Check the bores that must be open once the deck is cut."""
        if any(work.deck is not None and work.deck.rough == 0.0 for work in works):
            for id, (x, y, diameter) in (self.shop.bores or self._bores(works)).items():
                self._open(id, x, y, diameter)

    def strangers(self) -> None:
        """Report files that belong to no operation."""
        for name in sorted(set(self.files.texts) - self.used):
            self.findings.add("order", "no operation of the plan has such a file", file=name)

    def _bores(self, works: Sequence[Work]) -> dict[str, tuple[float, float, float]]:
        """Return the bores of the inserts as the works have them, (x, y, diameter) by id, in the A
        frame."""
        return {
            hole.id: (*self.shop.mirrored(hole.x, hole.y), hole.steps[-1].diameter)
            for work in works
            if work.name == "inserts"
            for hole in work.holes
        }

    def _open(self, id: str, x: float, y: float, diameter: float) -> None:
        if not is_open(self.stock, x, y, diameter / 2.0):
            says = f"{id}: its bore is not open where the board has it after the deck is cut"
            self.findings.add("bore-closed", says, file="", place=(x, y, 0.0))
