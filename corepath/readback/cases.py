"""Read-back of the same files on other blanks, and with the skim stopped at other passes, to find
what goes wrong only there.

A *case* is a pass at which the skim stops, and a blank thicker or thinner than the planned one. Its
columns stand farther apart than those of the read-back itself, but each is as exact. Checks of the
motions alone are not repeated, nor the exact proof of the deck. A file that is zeroed on a face
moves with the face: the work is compared at the heights that follow, and the finding `zero` is not
raised. With the zero on a face a deck fits one stop only, and is planned again once the stop is
recorded: such a case ends before C. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from corepath.gcode.read.findings import Finding, Findings
from corepath.gcode.read.read_program import ReadProgram
from corepath.lengths import marked
from corepath.motion.cutter import Cutter
from corepath.readback.cutting import Cutting, check_cut, check_outside, cut_path
from corepath.readback.inspection import Done
from corepath.readback.judging import may_touch, measure_deck, measure_proud
from corepath.readback.measure import Run
from corepath.readback.motion.cut_load import check_load
from corepath.readback.motion.descents import check_descents, descents_solved, least_slope
from corepath.readback.motion.discipline import choose_cutter
from corepath.readback.motion.holder_clearance import check_nose_stock
from corepath.readback.plan_files import PlanFiles
from corepath.readback.result import Case, CaseOutcome
from corepath.readback.simulation_setup import SimulationSetup
from corepath.readback.surfaces.floors import Singles, check_floor
from corepath.readback.surfaces.hole_steps import is_open
from corepath.readback.surfaces.left import measure_edge, measure_seats, measure_thinnest
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.cut_memory import CutMemory
from corepath.stock.material import Stock
from corepath.stock.path import Path, judge_unknown, laid
from corepath.work.works import Deck, Work

__all__ = ["CELL", "new_findings", "read_cases", "shifted"]

Zero = tuple[float, float, float]

CELL = 1.0
"""mm between the columns."""

_SKIN = 0.5  # mm below the top of the blank: more than blanks of one job differ in thickness


def shifted(work: Work, dz: float) -> Work:
    """Return the work as it should come out where its zero lies higher by `dz` (mm) than planned;
    its own zero is kept."""
    if not dz:
        return work
    pockets = tuple(replace(one, top=one.top + dz, floor=one.floor + dz) for one in work.pockets)
    holes = tuple(
        replace(
            one,
            top=one.top + dz,
            steps=tuple(replace(step, floor=step.floor + dz) for step in one.steps),
        )
        for one in work.holes
    )
    facing, deck = work.facing, work.deck
    if facing is not None:
        facing = replace(
            facing, top=facing.top + dz, planes=tuple(plane + dz for plane in facing.planes)
        )
    if deck is not None:
        deck = replace(deck, top=deck.top + dz, openings=())
    return replace(work, pockets=pockets, holes=holes, facing=facing, deck=deck)


class _Paths:
    """The files as they lie on the bed: on most blanks in the same place."""

    def __init__(self) -> None:
        self._held: dict[tuple[str, Zero, Cutter, float], Path] = {}

    def of(self, program: ReadProgram, zero: Zero, cutter: Cutter, chords: float) -> Path:
        """Return what `laid` gives, now or before."""
        key = program.file, zero, cutter, chords
        if key not in self._held:
            self._held[key] = laid(program, zero, cutter, chords)
        return self._held[key]


class _Trial(Run):
    """The read-back of one blank from A on, and of its copies from each pass of the skim on."""

    def __init__(self, shop: SimulationSetup, files: PlanFiles, stock: Stock | None = None) -> None:
        super().__init__(shop, files, stock=stock)
        self.dz = 0.0
        self.after_pass: dict[int, Stock] = {}
        self.loads: list[float] = []
        self.stops: frozenset[int] = frozenset()
        self.paths = _Paths()

    @staticmethod
    def of(shop: SimulationSetup, files: PlanFiles, cases: Sequence[Case]) -> _Trial:
        """Return a blank of the thickness that these cases share, before A."""
        blank = replace(
            shop, thickness=shop.thickness + cases[0].thicker, lies=cases[0].lies or shop.lies
        )
        trial = _Trial(blank, files)
        trial.stops = frozenset(case.stop for case in cases)
        return trial

    def operation(self, work: Work) -> None:
        self.dz = self._zero(work)[2] - work.zero.z
        super().operation(shifted(work, self.dz))

    def _skim(self, work: Work) -> None:
        """Cut the passes one after another, and keep the blank after those of `stops`."""
        assert work.facing is not None
        for number, plane in enumerate(work.facing.planes, 1):
            self._facing(work, f"{work.stem}-pass-{number}.nc", self.stock, plane)
            if number in self.stops:
                self.after_pass[number] = self.stock.copy()

    def _file(
        self, work: Work, name: str, stock: Stock, cutting: Cutting = cut_path
    ) -> Done | None:
        """Simulate one file; only checks that depend on the blank."""
        if name not in self.files.texts:
            return None
        program, findings = self.files.program(name), Findings(name)
        cutter = choose_cutter(program, work, self.shop, Findings(name))
        assert self.zeroed is not None
        zero = self.zeroed.place
        judge_unknown(program, zero, stock.highest(), findings)
        path = self.paths.of(program, zero, cutter, self.shop.allowed.chords)
        check_nose_stock(path, stock.top, stock.grid, work.collet, findings)
        entering = path.start[:, 2] > stock.highest() - _SKIN
        before = stock.top.copy()
        cut = cutting(stock, path)
        check_cut(path, cut, self.shop.allowed, findings)
        # Only where it comes into the blank, which is what differs: a thicker one is met too early.
        down = descents_solved(path, stock, least_slope(work, path), entering)
        check_descents(work, path, down, findings)
        measures = MeasureList(name)
        check_load(work, path, cut, stock, measures, findings)
        self.loads += [
            one.value / one.wanted for one in measures if one.id == "largest removal" and one.wanted
        ]
        return Done(path, stock, before, self.shop.allowed, measures, findings, cut)

    def _judge(self, work: Work, done: Done) -> None:
        """Check heights only: what the motions alone show is checked once, on the planned blank."""
        stock = self.stock
        check_outside(done, may_touch(work, stock, self.shop))
        measure_proud(work, done)
        for pocket in work.pockets:
            if not pocket.proud and pocket.cleared is None:
                check_floor(pocket, done)
        for hole in work.holes:
            through = hole.breaks_through is not None
            if through and not is_open(stock, hole.x, hole.y, hole.steps[-1].diameter / 2.0):
                says = f"{hole.id}: it is to pass through and is not open"
                done.findings.add("bore-closed", says, place=(hole.x, hole.y, 0.0))
        if work.deck is not None:
            measure_deck(work, done, self._surface(work.deck), self.behind)

    def _surface(self, deck: Deck) -> Singles:
        return super()._surface(deck) + np.float32(self.dz)

    def _planed(self, work: Work, plane: float, done: Done) -> None:
        self._check_planed(work, plane, done)
        self._close(done)

    def _close(self, done: Done) -> None:
        """Take over the findings alone: a case reports nothing else of a file."""
        self.findings.extend(done.findings)

    def left(self, setup: str, works: Sequence[Work]) -> None:
        """Measure what `figures` asks for."""
        measures, shop = MeasureList(f"after {setup}"), self.shop
        if setup == "A":
            self._floors()
        if setup == "C":
            board = None if shop.outline is None else shop.mirrored_area(shop.outline, setup)
            measure_thinnest(self.stock, board, measures)
            measure_seats(self.stock, shop.seats, shop.bores, measures)
            measure_edge(self.stock, board, self.castings, measures)
        self.measures.extend(measures)

    def from_pass(self, number: int) -> _Trial:
        """Return a copy of the state after a pass of the skim, from which to go on."""
        stock = self.after_pass.get(number, self.stock).copy()
        other = _Trial(replace(self.shop, planned_pass=number), self.files, stock)
        other.face, other.castings = self.face, dict(self.castings)
        other.behind, other.paths = list(self.behind), self.paths
        return other

    def begin(self, works: Sequence[Work]) -> None:
        """Cut set-up A, and B as far as the skim."""
        for setup in "AB":
            self.set_up(setup)
            for work in works:
                if work.setup == setup and work.name != "inserts":
                    self.operation(work)
                    self.behind.append(work)
                    self._sawn(work)
            if setup == "A":
                self.left("A", works)

    def _sawn(self, work: Work) -> None:
        if work.facing is not None and work.name not in self.shop.done:
            for stock in self.after_pass.values():
                kept, self.stock = self.stock, stock
                self._saw_off(work.facing)
                self.stock = kept

    def end(self, works: Sequence[Work], deck: bool) -> None:
        """Cut the inserts, and set-up C if its deck fits this stop (`deck`)."""
        for work in works:
            if work.setup == "B" and work.name == "inserts":
                self.operation(work)
        self.left("B", works)
        if deck and any(work.setup == "C" for work in works):
            self.set_up("C")
            for work in works:
                if work.setup == "C":
                    self.operation(work)
            self.left("C", works)
            self.open_bores(works)

    def figures(self, begun: _Trial) -> dict[str, float]:
        """Return figures by name of the blank as it is left, as far as it was cut; `begun` is the
        state that A and the skim left (see `Outcome.figures`)."""
        found: dict[str, float] = {}
        under = [one.value for one in begun.measures if one.id.endswith("wood under")]
        if under:
            found["least_floor"] = min(under)
        for name, id in (("thinnest", "board thinnest"), ("edge_casting", "casting at the edge")):
            values = [one.value for one in self.measures if one.id == id and one.file == "after C"]
            if values:
                found[name] = values[0]
        over = [one.value for one in self.measures if one.id.endswith("wood over")]
        if over:
            found["wood_over_seat"] = min(over)
        loads = [*begun.loads, *self.loads]
        if loads:
            found["load"] = max(loads)
        return found


def read_cases(
    shop: SimulationSetup,
    works: Sequence[Work],
    files: PlanFiles,
    cases: Iterable[Case],
    cell: float = CELL,
) -> tuple[CaseOutcome, ...]:
    """Cut the files in each case, and return what is found in it, in the order of `cases`, whether
    or not it is found elsewhere too.

    `cell` (mm) is the spacing of the columns. Works of set-up D are left out.
    """
    ordered = sorted(
        (w for w in works if w.setup != "D"), key=lambda work: (work.setup, work.order, work.part)
    )
    cases, outcomes = tuple(cases), {}
    deck: tuple[int, Singles] | None = None  # its heights: the columns stand alike in all cases
    # Once it is planed, a blank of another thickness differs in what lies below alone.
    memory, paths = CutMemory(), _Paths()
    # One blank after the other: each holds many columns, and the copies of its cases besides. All
    # cases of one thickness share A and the skim, which are cut once.
    for thicker in dict.fromkeys(case.thicker for case in cases):
        same = [case for case in cases if case.thicker == thicker]
        first = _Trial.of(replace(shop, cell=max(cell, shop.cell)), files, same)
        first.stock.memory, first.paths = memory, paths
        first.begin(ordered)
        for case in same:
            rest = first.from_pass(case.stop)
            rest.heights = deck
            again = shop.z_zero == "face" and case.stop != shop.planned_pass
            rest.end(ordered, not again)
            deck = rest.heights
            findings = (*first.findings, *rest.findings)
            outcomes[case] = CaseOutcome(case, findings, rest.figures(first), again)
    return tuple(outcomes[case] for case in cases)


def new_findings(outcomes: Sequence[CaseOutcome], known: Iterable[Finding]) -> Findings:
    """Return what is found in some cases and is not `known`: each kind of a file once, with the
    cases in which it is found."""
    before = {(one.kind, one.file) for one in known}
    first: dict[tuple[str, str], Finding] = {}
    arises: dict[tuple[str, str], list[str]] = {}
    for outcome in outcomes:
        for finding in outcome.findings:
            key = (finding.kind, finding.file)
            if key in before:
                continue
            first.setdefault(key, finding)
            where = arises.setdefault(key, [])
            if outcome.case.message not in where:
                where.append(outcome.case.message)
    found = Findings()
    for key, finding in first.items():
        found.extend(
            [
                replace(
                    finding,
                    message=f"{marked(finding.message)} ({'; '.join(map(marked, arises[key]))})",
                )
            ]
        )
    return found
