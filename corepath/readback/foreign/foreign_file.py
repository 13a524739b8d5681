"""Read-back of a file that corepath did not write: no plan, no operations, only text, blank and
cutters.

The blank lies level on the bed, its middle over the origin, Z up from the bed; mm. `zero` is where
the program's own zero lies in that frame. What the file is meant to cut is not known, so the result
is not compared with anything: what it cuts is reported, and findings are what a careful machinist
would not run.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.arcs import lengths
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import stream_program
from corepath.gcode.read.read_program import Event, ReadProgram
from corepath.gcode.read.text_source import ProgramSource, TextSource
from corepath.lengths import mm
from corepath.motion.cutter import Cutter
from corepath.readback.cutting import check_cut, cut_path
from corepath.readback.foreign.foreign_facts import CutStatistics, Foreign, ForeignSetup, Spot
from corepath.readback.foreign.timing import Minutes, time_path
from corepath.readback.foreign.tools_called import changes_by_m6, stretches, tools_called
from corepath.readback.motion.stops import check_spin_up, check_stops
from corepath.stock.material import NOWHERE, Cut, Stock
from corepath.stock.path import Path, lay

__all__ = ["read_foreign"]

# Modal groups that change what is cut; of others a file by another program may say nothing.
_NEEDED = ("distance", "feed mode")
# mm of wood from which on a plunge counts as one into solid wood.
_SOLID = 0.05


def read_foreign(text: str | ProgramSource, file: str, bench: ForeignSetup) -> Foreign:
    """Read one file and cut the blank with it, part by part. Never raises for what the file holds.

    A tool number without a cutter is a finding; its stretches are not cut. However long the file
    is, memory is that of the blank and of one part.
    """
    source = TextSource(text) if isinstance(text, str) else text
    tally = _Tally(file, bench, changes_by_m6(source.lines()))
    for part in stream_program(source.lines(), file, inch=bench.inch):
        tally.take(part)
    return tally.told()


class _Tally:
    """Figures and findings of the parts read so far."""

    def __init__(self, file: str, bench: ForeignSetup, by_m6: bool) -> None:
        self.bench = bench
        self.by_m6 = by_m6
        self.findings = Findings(file)
        self.stock = Stock(bench.length, bench.width, bench.thickness, bench.cell, remembers=False)
        for area, height in bench.there:
            rings = [
                np.asarray(area.exterior.coords),
                *(np.asarray(r.coords) for r in area.interiors),
            ]
            self.stock.carve(self.stock.grid.inside(rings), height)
        self.program: ReadProgram | None = None
        self.first_line: int | None = None
        self.motions = 0
        self.curved = False
        self.tool = -1
        self.used: set[int] = set()
        self.speeds: set[float] = set()
        self.started: tuple[Event, ...] = ()
        self.ends = np.array([[np.inf] * 3, [-np.inf] * 3])
        self.feeds = [np.inf, -np.inf]
        self.long = [0.0, 0.0]
        self.spent = Minutes(0.0, 0.0, 0.0, True)
        self.beyond = np.zeros(4)
        self.air = self.down = self.below = 0.0
        self.at_feed = False

    def take(self, program: ReadProgram) -> None:
        """Cut the blank with one part of the file, and add up its figures."""
        bench, findings = self.bench, self.findings
        self.program = program
        self.motions += program.count
        if program.count and self.first_line is None:
            self.first_line = int(program.line[0])
        tools = tools_called(program, self.by_m6, self.tool)
        cutters = self._cutters(tools, program)
        whole = lay(
            program,
            bench.zero,
            next(iter(cutters.values())),
            bench.thickness,
            bench.allowed.chords,
            findings,
        )
        check_stops(program, bench.zero[2], bench.thickness, findings)
        _low(whole, bench, findings)
        total = Cut.nothing(len(whole.kind))
        done = 0
        for part in stretches(whole, tools, cutters):
            count = len(part.kind)
            if bench.cutter(int(tools[part.index[0]])) is not None:
                cut = cut_path(self.stock, part)
                check_cut(part, cut, bench.allowed, findings)
                total.removed[done : done + count] = cut.removed
                self.beyond = np.maximum(self.beyond, _beyond(part, bench))
            done += count
        self._spin_up(whole, (whole.kind > 0) & (total.removed > bench.allowed.removal))
        self._figures(whole)
        self._deeds(whole, total)
        if len(tools):
            self.tool = int(tools[-1])
        for event in program.events:
            if event.name == ("tool-change" if self.by_m6 else "tool"):
                self.tool = int(event.value)

    def _cutters(self, tools: NDArray[np.int64], program: ReadProgram) -> dict[int, Cutter]:
        """Map each called tool number to a cutter; report an undefined tool at its first cut."""
        # Motions of an undefined tool still need some cutter to be laid out; they are not cut.
        stand_in = next(iter(self.bench.cutters.values()))
        used = {int(number) for number in np.unique(tools[program.kind > 0])}
        found: dict[int, Cutter] = {}
        for number in np.unique(tools).tolist():
            cutter = self.bench.cutter(number)
            if cutter is None and number in used - self.used:
                name = (
                    f"T{number} is called, and no cutter was given for it"
                    if number >= 0
                    else "no T names the cutter"
                )
                line = int(program.line[np.argmax((tools == number) & (program.kind > 0))])
                self.findings.add("unknown-cutter", f"{name}: what it cuts is not known", line=line)
            found[number] = cutter or stand_in
        self.used |= used
        return found or {-1: stand_in}

    def _spin_up(self, path: Path, cutting: NDArray[np.bool_]) -> None:
        """Check spindle spin-up, counting starts and dwells in earlier parts."""
        events = (*self.started, *path.program.events)
        program = replace(path.program, events=events)
        check_spin_up(replace(path, program=program), cutting, self.bench.spin_up, self.findings)
        starts = [place for place, event in enumerate(events) if event.name == "spindle-on"]
        last = int(path.index[cutting][-1]) if cutting.any() else -1
        waiting = bool(starts) and events[starts[-1]].index > last
        kept = (
            [event for event in events[starts[-1] :] if event.name in ("spindle-on", "dwell")]
            if waiting
            else []
        )
        # One start and one dwell, however many parts pass without a cut.
        if len(kept) > 2:
            dwell = sum(event.value for event in kept[1:])
            kept = [kept[0], replace(kept[-1], value=dwell)]
        self.started = tuple(replace(event, index=0) for event in kept)

    def _figures(self, path: Path) -> None:
        long = lengths(path.kind, path.start, path.end, path.centre)
        rapid = path.kind == 0
        self.long[0] += float(long[~rapid].sum())
        self.long[1] += float(long[rapid].sum())
        if len(path.pieces):
            for ends in (path.pieces.lower, path.pieces.upper):
                self.ends[0] = np.minimum(self.ends[0], ends.min(0) - self.bench.zero)
                self.ends[1] = np.maximum(self.ends[1], ends.max(0) - self.bench.zero)
        feed = path.program.feed[path.program.kind > 0]
        feed = feed[feed > 0.0]
        if len(feed):
            self.feeds = [
                min(self.feeds[0], float(feed.min())),
                max(self.feeds[1], float(feed.max())),
            ]
        self.speeds |= {event.value for event in path.program.events if event.name == "spindle-on"}
        self.spent = self.spent.plus(time_path(path, self.bench.limits))
        self.curved |= bool((path.program.kind >= 2).any())

    def _deeds(self, path: Path, cut: Cut) -> None:
        """Add up path in the air, plunges, and how far cuts go below the bed."""
        bench = self.bench
        meets = cut.removed > bench.allowed.removal
        cuts = path.kind > 0
        # 1e-6 mm: a move just along the top cuts nothing; 1e-9 below: straight down in the text's
        # figures.
        low = np.minimum(path.start[:, 2], path.end[:, 2]) < bench.thickness - 1e-6
        long = lengths(path.kind, path.start, path.end, path.centre)
        upright = cuts & meets & (np.hypot(*(path.end - path.start)[:, :2].T) < 1e-9)
        fall = np.minimum(
            path.start[:, 2] - path.end[:, 2], np.minimum(cut.removed, bench.thickness)
        )
        self.down = max(self.down, float(fall[upright & (fall > _SOLID)].max(initial=0.0)))
        self.below = max(self.below, -float(path.end[meets, 2].min(initial=0.0)))
        self.air += float(long[cuts & low & ~meets].sum())
        self.at_feed |= bool(cuts.any())

    def told(self) -> Foreign:
        """Return the result, once the last part is taken."""
        assert self.program is not None
        program, bench = self.program, self.bench
        findings = Findings(program.file)
        findings.extend(program.findings)
        _modes(program, self.curved, self.first_line, findings)
        findings.extend(self.findings)
        deed = self._deed()
        if deed.removed <= 0.0 and self.at_feed:
            findings.add(
                "outside-area", "no cut meets the blank: is its zero, size or cutter another?"
            )
        ends = self.ends.T.tolist()
        return Foreign(
            program=program,
            bench=bench,
            motions=self.motions,
            used=tuple(sorted(self.used)),
            extents=tuple((low, high) for low, high in ends)
            if np.isfinite(self.ends).all()
            else None,
            minutes=self.spent,
            cut_length=self.long[0],
            rapid_length=self.long[1],
            feeds=(self.feeds[0], self.feeds[1]) if self.feeds[0] <= self.feeds[1] else None,
            speeds=tuple(sorted(self.speeds)),
            deed=deed,
            stock=self.stock,
            findings=findings,
        )

    def _deed(self) -> CutStatistics:
        stock, bench = self.stock, self.bench
        top = stock.top
        column = stock.grid.px * stock.grid.py
        gone = top < NOWHERE / 2.0
        touched = ~gone & (top < bench.thickness - bench.allowed.removal)
        depth = np.where(gone, np.float32(bench.thickness), np.float32(bench.thickness) - top)
        left, right, front, back = (float(value) for value in self.beyond)
        return CutStatistics(
            depth=_spot(stock, depth, touched | gone, least=False),
            left=_spot(stock, top, touched, least=True),
            thin=float((touched & (top < 1.0)).sum()) * column,
            through=float(gone.sum()) * column,
            below_bed=max(0.0, self.below),
            removed=float(depth.sum(dtype=np.float64)) * column,
            beyond=(left, right, front, back),
            air=self.air,
            straight_down=self.down,
        )


def _modes(program: ReadProgram, curved: bool, first_line: int | None, findings: Findings) -> None:
    """Report modes that change what is cut and that the file leaves as the machine was before."""
    if not program.units_stated:
        findings.add("units", "neither G20 nor G21 is stated before the first move")
    needed = (*_NEEDED, "plane") if curved else _NEEDED
    missing = [group for group in needed if group in program.unstated]
    if missing and first_line is not None:
        says = "not stated before the first move: " + ", ".join(missing)
        findings.add("preamble", says, line=first_line)
    if len(program.systems) > 1 or (program.systems and "coordinate system" in program.unstated):
        findings.add(
            "zero",
            "it works in more than one coordinate system; all are taken for the one zero given",
        )


def _low(path: Path, bench: ForeignSetup, findings: Findings) -> None:
    limit = -bench.spoil_board
    # 1e-6 mm: a cut to just the limit is not below it.
    low = np.flatnonzero(path.end[:, 2] < limit - 1e-6)
    board = "spoil board" if bench.spoil_board else "bed, no spoil board being there"
    for index in low[: findings.keep]:
        x, y, z = (float(value) for value in path.end[index])
        says = f"goes to {mm(z):.3f}: {mm(limit - z):.3f} into what lies below the {board}"
        findings.add(
            "spoil-board", says, line=int(path.line[index]), place=(x, y, z), depth=limit - z
        )
    findings.more("spoil-board", len(low) - findings.keep)


def _beyond(path: Path, bench: ForeignSetup) -> NDArray[np.float64]:
    """Return how far the cutter reaches past left, right, front and back (4,) below the top of the
    blank, mm; 0 on sides that it does not pass."""
    # 1e-6 mm: a move just along the top cuts nothing.
    pieces = path.pieces.below(bench.thickness - 1e-6)
    if not len(pieces):
        return np.zeros(4)
    ends = np.vstack((pieces.lower, pieces.upper))[:, :2]
    (x0, y0), (x1, y1) = ends.min(0), ends.max(0)
    radius, half, side = path.cutter.radius, bench.length / 2.0, bench.width / 2.0
    return np.maximum(
        (-half - x0 + radius, x1 + radius - half, -side - y0 + radius, y1 + radius - side), 0.0
    )


def _spot(
    stock: Stock, values: NDArray[np.float32], which: NDArray[np.bool_], *, least: bool
) -> Spot | None:
    if not which.any():
        return None
    fill = np.float32(np.inf if least else -np.inf)
    masked = np.where(which, values, fill)
    at = int(np.argmin(masked) if least else np.argmax(masked))
    iy, ix = np.unravel_index(at, masked.shape)
    x, y = stock.grid.place(int(iy), int(ix))
    return Spot(float(masked[iy, ix]), x, y)
