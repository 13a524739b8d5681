"""Data of the read-back of a foreign file: the simulation set-up, cut statistics, and all that is
reported. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from shapely import Polygon

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.read_program import ReadProgram
from corepath.lengths import INCH, MM, Units
from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter
from corepath.readback.foreign.timing import Minutes
from corepath.readback.simulation_setup import Allowed
from corepath.reported import Key, report_keys
from corepath.stock.material import Stock

__all__ = ["CutStatistics", "Foreign", "ForeignSetup", "Spot", "There"]

There = tuple[tuple[Polygon, float], ...]
"""Areas, seen from above in the frame of the blank's middle, and down to which height (mm above the
bed) each is cut already."""


@dataclass(frozen=True, slots=True)
class ForeignSetup:
    """The simulation set-up: blank (mm), zero of the program in the blank's frame, cutters by
    number, machine.

    `cutters[-1]`, if given, is used for all numbers that are not named. `spoil_board` is the depth
    below the bed that may be cut into. With `inch` numbers are inches where the file states no
    units. `cell` is the largest spacing of the columns. `there` is what is cut already.
    """

    length: float
    width: float
    thickness: float
    zero: tuple[float, float, float]
    cutters: dict[int, Cutter]
    limits: Limits
    spin_up: float = 0.0
    spoil_board: float = 0.0
    inch: bool = False
    cell: float = 0.5
    there: There = ()
    allowed: Allowed = field(default_factory=Allowed)

    def cutter(self, number: int) -> Cutter | None:
        """Return the cutter for a tool number (-1: the program has called no tool), or None."""
        if number in self.cutters:
            return self.cutters[number]
        if -1 in self.cutters:
            return self.cutters[-1]
        return (
            next(iter(self.cutters.values())) if number == -1 and len(self.cutters) == 1 else None
        )


@report_keys("value", Key("x", places=3), Key("y", places=3))
@dataclass(frozen=True, slots=True)
class Spot:
    """A figure in mm and the place (x, y) where it was found, from the middle of the blank."""

    value: float
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class CutStatistics:
    """Cut statistics: what is done to the blank; lengths in mm, areas in mm², `removed` in mm³.

    `depth` is the deepest cut below the raw top, `left` the least wood under a cut that leaves
    some, `thin` the area with less than 1 mm left, `through` the area cut right through,
    `below_bed` how far cuts go below the bed. `beyond` is how far the cutter reaches past the left,
    right, front and back side below the top, `air` the length of path at feed below the top that
    meets nothing, `straight_down` the deepest plunge at feed into solid wood.
    """

    depth: Spot | None
    left: Spot | None
    thin: float
    through: float
    below_bed: float
    removed: float
    beyond: tuple[float, float, float, float]
    air: float
    straight_down: float


@report_keys(Key("*", "entries", None))
@dataclass(frozen=True, slots=True)
class Foreign:
    """All that was found out about one file; `program` is only its last part.

    `extents` are least and largest X, Y, Z in program coordinates, mm, or None.
    """

    program: ReadProgram
    bench: ForeignSetup
    motions: int
    used: tuple[int, ...]
    extents: tuple[tuple[float, float], ...] | None
    minutes: Minutes
    cut_length: float
    rapid_length: float
    feeds: tuple[float, float] | None
    speeds: tuple[float, ...]
    deed: CutStatistics
    stock: Stock
    findings: Findings

    @property
    def ok(self) -> bool:
        return not self.findings.counts

    @property
    def counts(self) -> dict[str, int]:
        return self.findings.by_kind

    @property
    def units(self) -> Units:
        """The units of the file, in which it is reported."""
        return INCH if self.program.inch else MM

    def entries(self) -> dict[str, Any]:
        """Return the entries of the report; lengths in mm."""
        deed, bench = self.deed, self.bench
        ends = self.extents and {
            axis: [round(v, 4) for v in pair]
            for axis, pair in zip("xyz", self.extents, strict=True)
        }
        sides = zip(("left", "right", "front", "back"), deed.beyond, strict=True)
        spent = self.minutes
        return {
            "file": self.program.file,
            "lines": self.program.lines,
            "motions": self.motions,
            "units": {"name": self.units.name, "stated": self.program.units_stated},
            "unstated": list(self.program.unstated),
            "blank": {"length": bench.length, "width": bench.width, "thickness": bench.thickness},
            "zero": {axis: round(value, 6) for axis, value in zip("xyz", bench.zero, strict=True)},
            "cutters": [
                {"called": number, **(cutter.form() if cutter else {})}
                for number in self.used for cutter in [bench.cutter(number)]
            ],
            "extents": ends,
            "minutes": {
                "total": round(spent.total, 4), "feed": round(spent.feed, 4),
                "rapid": round(spent.rapid, 4),
                "dwell": round(spent.dwell, 4), "known": spent.known,
            },
            "cut_length": round(self.cut_length, 3),
            "rapid_length": round(self.rapid_length, 3),
            "feeds": self.feeds and [round(value, 3) for value in self.feeds],
            "speeds": list(self.speeds),
            "depth": deed.depth,
            "left": deed.left,
            "thin": round(deed.thin, 2),
            "through": round(deed.through, 2),
            "below_bed": round(deed.below_bed, 4),
            "removed": round(deed.removed, 1),
            "beyond": {side: round(value, 4) for side, value in sides},
            "air": round(deed.air, 2),
            "straight_down": round(deed.straight_down, 4),
            "ok": self.ok,
            "counts": self.counts,
            "findings": self.findings,
        }  # fmt: skip
