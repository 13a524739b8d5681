"""The works of set-up D: the laid-up board in a cradle that holds it at its rocker, and where trim
and bolt holes lie on it.

*Frame of D*: X along the chord, Y across, (0, 0) over the middle of the blank; Z = 0 where the form
has the rise 0, so that the cradle's face lies at the form's rise. Without a cradle there are none:
a flat program would cut a curved board in the wrong place and depth. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from corepath.board.features import Board
from corepath.board.footprints import offset
from corepath.errors import Fault
from corepath.job.model import Job, TrimSection
from corepath.layup.laid import Bolt, LaidUp, bolts_of, drill_at, laid_up, pad_of
from corepath.lengths import mm
from corepath.motion.program import Zero
from corepath.work.cutting.cutters import Chosen, Need, choose
from corepath.work.cutting.hole_cutters import drill_watch, hole_parts
from corepath.work.cutting.running import FINISH_DEPTH, CutRequest
from corepath.work.holding import screws_of
from corepath.work.works import FileOf, Hole, Milling, Obstacle, Step, Trim, Work

__all__ = ["after_layup", "bed_below", "laminate_at"]

_SLACK = 0.003
"""mm by which thinning and arcs may lie below a path; `TOLERANCE` of `corepath.motion.fit`."""

# Places on the rim of a hole at which the heights of a curved stock are asked for.
_ROUND = 24
_DUST = "cuts resin and glass: extract at the cutter, wear a dust mask, cover skin"
_CRADLE = "the board must lie on its cradle everywhere, held by its rim and by itself"


def after_layup(job: Job, board: Board, milling: Milling) -> tuple[list[Work], list[Fault]]:
    """The works of D in order, and the faults where no listed cutter fits; both empty without a
    cradle."""
    if job.layup is None or not job.layup.cradle:
        return [], []
    builder = _After(job, board, laid_up(job, board), milling)
    found = [*builder.trim(), *builder.bolt_holes()]
    return [one for one in found if isinstance(one, Work)], [
        one for one in found if isinstance(one, Fault)
    ]


def bed_below(job: Job, board: Board) -> float:
    """How far the bed lies below Z = 0 of D, mm; 0 without a cradle."""
    return -laid_up(job, board).bed if job.layup is not None and job.layup.cradle else 0.0


def laminate_at(job: Job, board: Board) -> tuple[float, float, float]:
    """X and Y in D of the place where the face is touched, and the height of the laminate's top
    there, mm."""
    laid = laid_up(job, board)
    x, y = job.machine.touch_at or (0.0, 0.0)
    at, z = laid.place(x, laid.below + float(laid.deck.height(x, y)) + laid.above)
    return float(at), y, float(z)


@dataclass(frozen=True, slots=True)
class _After:
    job: Job
    board: Board
    laid: LaidUp
    milling: Milling

    def _blank(self) -> Polygon:
        start, end = self.laid.ends
        return shapely.box(start, -self.laid.width / 2.0, end, self.laid.width / 2.0)

    def _top(self) -> float:
        """Highest place of the laid-up blank, with what it may lie unevenly, mm."""
        start, end = self.laid.ends
        x, y = np.meshgrid(
            np.linspace(start, end, 301), np.linspace(0.0, self.laid.width / 2.0, 61)
        )
        highest = float(max(self.laid.top(x, y).max(), self.laid.top(x, -y).max()))
        if self.job.deck.beyond is not None:
            # Waste that nothing finished lies along the blank's edges, at most so high that it
            # need not be roughed.
            half = self.laid.width / 2.0
            edges = [self.laid.top(x, half).max(), self.laid.top(x, -half).max()]
            ends = [self.laid.top(end, y).max() for end in self.laid.ends]
            highest = max(highest, float(max(*edges, *ends)) + FINISH_DEPTH)
        return round(highest + self.job.tolerances.flat, 4)

    def _zero(self) -> Zero:
        machine, laid = self.job.machine, self.laid
        corner = machine.xy_zero == "front-left"
        x, y = (laid.ends[0], -laid.width / 2.0) if corner else (0.0, 0.0)
        if machine.z_zero == "bed" or machine.touch_at is None:
            at_x, at_y, level = pad_of(self.job, laid)
            # the board covers the face itself
            touch = (
                f"the pad at X{mm(at_x):.1f} Y{mm(at_y):.1f} from the middle, beside the board, "
                "its top level with the face of the cradle at X0"
            )
            return Zero(x, y, level, touch, True, "the cradle", by="cradle")
        at, flat_y, z = laminate_at(self.job, self.board)
        touch = (
            f"the laminate's top at X{mm(at):.2f} Y{mm(flat_y):g} from the middle, along the chord"
        )
        return Zero(x, y, round(z, 6), touch, True, "the laminate", by="cradle")

    def _datum(self) -> str:
        """Where heights count from, and how far that lies above what can be measured from."""
        high = mm(-self.laid.bed)
        return (
            f"heights count from the rise 0 of the form, {high:.2f} above the bed that the "
            "cradle stands on"
        )

    def _obstacles(self) -> tuple[Obstacle, ...]:
        """What stands in D, on the bed under the cradle, and the heads of screws in the laminate's
        top."""
        bed = self.laid.bed
        found = [
            Obstacle(Polygon(section.points), bed + section.height, f"obstacle {number}")
            for number, section in enumerate(self.job.obstacle, start=1)
            if "D" in section.setups
        ]
        for screw in screws_of(self.job, "D"):
            face = float(self.laid.top(screw.x, screw.y))
            height = face - screw.section.counterbore + screw.section.head_height
            found.append(Obstacle(screw.head, height, screw.name))
        return tuple(found)

    def _work(
        self,
        file: FileOf,
        chosen: Chosen,
        lowest: float,
        watch: tuple[str, ...],
        *,
        holes: tuple[Hole, ...] = (),
        trim: Trim | None = None,
    ) -> Work:
        blank, top, obstacles = self._blank(), self._top(), self._obstacles()
        return Work(
            order=file.order,
            setup=file.setup,
            name=file.name,
            cutter=chosen.cutter,
            cutting=chosen.cutting,
            zero=self._zero(),
            blank=blank,
            stock_top=top,
            clear=max([top, *(one.height for one in obstacles)]) + self.job.machine.safe_z,
            lowest=lowest,
            park=(blank.bounds[0], blank.bounds[3]),
            arcs=self.job.machine.arcs,
            milling=self.milling,
            holes=holes,
            trim=trim,
            sloped=True,
            obstacles=obstacles,
            collet=self.job.machine.collet_diameter,
            watch=(_CRADLE, self._datum(), *watch),
            part=file.part,
        )

    def trim(self) -> Iterator[Work | Fault]:
        """The work that cuts the board free but for a web, or its fault."""
        job, laid = self.job, self.laid
        wish = job.trim or TrimSection()
        thick = laid.edge - wish.web
        if thick <= 0.0:
            allowed = f"less than the board's edge with its laminates, {mm(laid.edge):g}"
            yield Fault("trim.web", "nothing is left to cut", f"{mm(wish.web):g}", allowed)
            return
        width = job.groove.width
        asked = CutRequest(wall=math.inf, allowance=wish.finish, resin=True, laminate=True)
        chosen = choose(
            job,
            Need("the trim", ("flat",), width, thick / math.cos(self._steepest()), "trim", asked),
        )
        if isinstance(chosen, Fault):
            yield chosen
            return
        # Grown in the flat: the allowance is measured along the arc, as on the template.
        area = laid.shape(_grown(self.board.outline, wish.allowance), laid.edge_middle)
        reaches = (chosen.cutter.radius, chosen.cutter.radius + wish.finish)
        ring = np.vstack(
            [np.asarray(area.buffer(by).exterior.segmentize(1.0).coords) for by in reaches]
        )
        tip = laid.tip(ring[:, 0], chosen.cutter.radius, wish.web)
        depth = float((laid.top(ring[:, 0], ring[:, 1]) - tip).max())
        # The cutter is level and the board tilted: over its diameter the web grows from the least
        # to this.
        most = wish.web + 2.0 * chosen.cutter.radius * math.tan(self._steepest())
        watch = (
            f"leaves a web of {mm(wish.web):.2f} to {mm(most):.2f} over the cradle: cut it by hand",
            f"the board tilts up to {math.degrees(self._steepest()):.2f} degrees, its wall stands "
            "upright: "
            f"{mm(laid.edge * math.tan(self._steepest())):.2f} from top to bottom",
            _DUST,
        )
        trim = Trim(area, laid, wish.finish, wish.web, round(depth, 6), chosen.cutting.finish)
        file = FileOf(9, "D", "trim")
        yield self._work(file, chosen, float(tip.min()) - _SLACK, watch, trim=trim)

    def _steepest(self) -> float:
        """The largest tilt of the board within its outline, radians."""
        low, _, high, _ = self.board.outline.bounds
        return float(np.abs(self.laid.tilt(np.linspace(low, high, 201))).max())

    def bolt_holes(self) -> Iterator[Work | Fault]:
        """All bolt holes of a known diameter, a file for each cutter that they need."""
        bolts = {
            bolt.id: bolt for bolt in bolts_of(self.job, self.board) if bolt.diameter is not None
        }
        holes = {id: self._hole(bolt, bolt.diameter or 0.0) for id, bolt in bolts.items()}
        found: dict[int, tuple[Chosen, list[Hole]]] = {}
        for over_insert, key in ((False, "plug.bolt_hole"), (True, "insert.bolt_hole")):
            mine = [
                hole for id, hole in holes.items() if (bolts[id].room is not None) == over_insert
            ]
            if not mine:
                continue
            mine_of = self._no_drills() if over_insert else self.job
            parts = hole_parts(
                mine_of, "the bolt holes", key, mine, True, CutRequest(resin=True, laminate=True)
            )
            if isinstance(parts, Fault):
                yield parts
                continue
            for made in parts:
                found.setdefault(made.chosen.cutter.number, (made.chosen, []))[1].extend(made.holes)
        for part, (chosen, group) in enumerate(found.values(), start=1):
            lowest = min(hole.steps[-1].floor for hole in group)
            watch = (*self._says([bolts[hole.id] for hole in group]), *drill_watch(chosen.cutter))
            file = FileOf(10, "D", "bolt-holes", part)
            yield self._work(file, chosen, lowest, watch, holes=tuple(group))

    def _no_drills(self) -> Job:
        """The job without its drills: the point of a drill would meet the barrel of an insert."""
        return self.job.model_copy(
            update={"cutter": tuple(c for c in self.job.cutter if c.shape != "drill")}
        )

    def _hole(self, bolt: Bolt, diameter: float) -> Hole:
        """An upright hole: through a plug into the cradle, or through the laminate down to the bore
        of an insert."""
        laid = self.laid
        x, _ = drill_at(laid, bolt)
        angle = np.arange(_ROUND) * (2.0 * math.pi / _ROUND)
        rim_x = np.append(x + diameter / 2.0 * np.cos(angle), x)
        rim_y = np.append(bolt.y + diameter / 2.0 * np.sin(angle), bolt.y)
        top = float(laid.top(rim_x, rim_y).max())
        ground = laid.bottom(rim_x)
        if bolt.room is not None:
            # Half way into the gap over the barrel: neither the laminate is left nor the barrel
            # touched.
            floor = float(laid.top(x, bolt.y, off=laid.above + bolt.room / 2.0))
            return Hole(bolt.id, x, bolt.y, top, (Step(diameter, floor),))
        # The cradle slopes: below its lowest place under the hole, so that it is through
        # everywhere.
        floor = float(ground.min()) - self.job.milling.into_bed
        return Hole(
            bolt.id, x, bolt.y, top, (Step(diameter, floor),), breaks_through=float(ground.max())
        )

    def _says(self, bolts: list[Bolt]) -> Iterator[str]:
        plugs = [bolt for bolt in bolts if bolt.room is None]
        if plugs:
            yield f"passes {mm(self.job.milling.into_bed):g} into the cradle: have waste wood there"
        tilts = {bolt.id: abs(float(self.laid.tilt(bolt.x))) for bolt in bolts}
        worst = max(bolts, key=lambda bolt: round(tilts[bolt.id], 9))
        deep = float(self.laid.deck.height(worst.x, worst.y))
        yield (
            f"upright holes in a board that tilts up to {math.degrees(tilts[worst.id]):.2f} "
            f"degrees at {worst.id}: "
            f"{mm(deep * math.tan(tilts[worst.id])):.2f} aside over the core's {mm(deep):.1f}"
        )
        shallow = [bolt.id for bolt in bolts if bolt.room is not None]
        if shallow:
            yield (
                f"ends over the inserts {', '.join(shallow)}, half way between laminate and barrel"
            )
        yield _DUST


def _grown(area: Polygon, by: float) -> Polygon:
    if by <= 0.0:
        return area
    grown = offset(area, by)
    return grown if isinstance(grown, Polygon) else area
