"""What a record needs to know of its job, to reject impossible entries and to say what comes next.

Plain data, lengths in mm, places in the board frame. Whatever needs the board's geometry is
optional: a record can be kept for a job whose geometry has faults.
`corepath.stackup.measuring.facts_for_record` fills it in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from corepath.lengths import units_of
from corepath.motion.pass_name import pass_height, typed_within

__all__ = ["CastingFacts", "JobFacts", "OffStop", "PlanFolder", "Within", "off_stop"]


@dataclass(frozen=True, slots=True)
class CastingFacts:
    """A casting: the operation that cuts its pocket, and its largest depth, mm.

    `distance(x, y)` is how far a place lies outside it, mm, 0 inside; None where the geometry is
    not known. `places` are good places to measure its depth.
    """

    id: str
    operation: str
    depth: float
    distance: Callable[[float, float], float] | None = None
    places: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class PlanFolder:
    """The folder of the last plan: its name as it is typed, and the heights of the passes (mm above
    the bed in B) by the number in their file's name."""

    name: str
    passes: Mapping[int, float]


@dataclass(frozen=True, slots=True)
class Within:
    """How far a figure may lie below (`low`, negative) and above (`high`) its nominal value in the
    worst case, mm."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class OffStop:
    """A figure that a stop of the skim cannot have left: that leaves `low` to `high`, and the
    figure lies `by` outside, mm.

    `likely` is the plane of the pass that it looks like, None if it is the stop's own.
    """

    low: float
    high: float
    by: float
    likely: float | None


def off_stop(value: float, within: Within, plane: float, planes: Iterable[float]) -> OffStop | None:
    """Return how a figure `value` contradicts a stop at `plane`; None where it agrees in the worst
    case.

    `within` is how far the figure may differ from the plane of a stop, `planes` the passes that may
    have been the stop. All mm, heights above the bed in B.
    """
    low, high = plane + within.low, plane + within.high
    if low <= value <= high:
        return None
    # Of two equally near passes the lower: that one was cut last.
    likely = min(planes, key=lambda one: (round(abs(one - value), 6), one), default=plane)
    return OffStop(low, high, max(low - value, value - high), None if likely == plane else likely)


@dataclass(frozen=True, slots=True)
class JobFacts:
    """What a record needs to know of one job; lengths in mm.

    `planes` are the passes of the skim, highest first, empty where they are not known;
    `planned_plane` is where the skim should stop. `folder` is that of the last plan, whose files
    are at the machine; None where none was found. `thickness_within` and `touch_within` are how far
    the thickness by callipers and a touched face (by operation) may differ from the plane where the
    skim stopped; None or empty where that is not known. `cutters` are the listed diameters by
    number, `drills` the numbers of drills; `inserts` are all by id, each with whether its bore goes
    through. `operations` are those of this job, in order; `measured`: the job names a file of
    measured places.
    """

    file: str
    units: str
    title: str
    length: float
    width: float
    thickness: float
    tolerance: float
    groove_width: float
    castings: Mapping[str, CastingFacts]
    operations: tuple[str, ...]
    cutters: Mapping[int, float]
    drills: frozenset[int] = frozenset()
    inserts: Mapping[str, bool] = field(default_factory=dict)
    planes: tuple[float, ...] = ()
    planned_plane: float | None = None
    measured: bool = False
    folder: PlanFolder | None = None
    thickness_within: Within | None = None
    touch_within: Mapping[str, Within] = field(default_factory=dict)

    @property
    def passes(self) -> Mapping[int, float]:
        """Heights of the passes by number: those of the last plan's files, else of a plan made
        now."""
        if self.folder is not None:
            return self.folder.passes
        return dict(enumerate(self.planes, start=1))

    def pass_at(self, height: float) -> tuple[int, float] | None:
        """Return number and height of the pass that a typed `height` (mm) means; None if none."""
        # People type what is printed, which is rounded: half its last digit is allowed for.
        near = [(abs(plane - height), number, plane) for number, plane in self.passes.items()]
        off, number, plane = min(near, default=(math.inf, 0, 0.0))
        return (number, plane) if off <= typed_within(self.units) else None

    def pass_words(self) -> str:
        """Return the heights of all passes in words, highest first."""
        planes = sorted(self.passes.values(), reverse=True)
        return ", ".join(self.height(plane) for plane in planes)

    def height(self, plane: float) -> str:
        """Return the height of a pass as heads, sheet and tables print it."""
        return pass_height(plane, self.units)

    @property
    def scale(self) -> float:
        """mm in one of the job's units of length."""
        return units_of(self.units).scale

    def shown(self, length: float) -> str:
        """Return a length in the job's units, as in messages."""
        return units_of(self.units).figure(length, ".3n")

    def on_blank(self, at: tuple[float, float]) -> bool:
        """Return whether a place (board frame, mm) lies on the blank."""
        return abs(at[0]) <= self.length / 2 and abs(at[1]) <= self.width / 2
