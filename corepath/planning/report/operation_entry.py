"""The entry of `report.json` about one file: what it is, its time, its load, what it does not
reach."""

from __future__ import annotations

from typing import Any, NamedTuple

from corepath.job.model import Job
from corepath.motion.clock import most_a_second
from corepath.motion.program import Program
from corepath.planning.make import MadeFile
from corepath.reported import Key, report_keys
from corepath.work import feed_report
from corepath.work.keepoff import Uncut, uncut

__all__ = ["OperationEntry", "operation_entry"]


@report_keys(
    Key("file", "made.name"), Key("order", "program.order"), Key("setup", "program.setup"),
    Key("name", "program.name"), Key("cutter", "program.cutter.facts", None),
    Key("zero", "program.zero"), Key("system", "program.zero.system"),
    Key("touch", "program.zero.touch"), Key("touch_again", "program.zero.again"),
    Key("watch", "program.watch"), Key("minutes", "made.minutes", 2),
    Key("minutes_apart", "made.apart"), Key("bound", "made.least_time.minutes", 3),
    Key("over_bound", places=3), Key("bound_level_ground", "made.least_time.level", optional=True),
    Key("lines", "made.lines"), Key("extents", "made.extents"),
    Key("rpm", "program.cutting.rpm", None), Key("feed", "program.cutting.feed", None),
    Key("feeds", places=None),
    Key("sha256", "made.sha256"), "points", Key("combined", "program.combined", optional=True),
    Key("uncut", optional=True), Key("corners", optional=True),
)  # fmt: skip
class OperationEntry(NamedTuple):
    """A file with the moves of its `busiest` second, the arithmetic of its `feeds`, and the pieces
    and corners that it leaves, None where there are none."""

    made: MadeFile
    program: Program
    busiest: int
    feeds: dict[str, Any]
    uncut: tuple[Uncut, ...] | None

    @property
    def over_bound(self) -> float:
        """The minutes over the least that any path takes."""
        return self.made.minutes / self.made.least_time.minutes

    @property
    def points(self) -> dict[str, int]:
        lines, arcs = self.made.cuts
        given = sum(stretch.given for stretch in self.program.passes)
        return {"given": given, "lines": lines, "arcs": arcs, "most_a_second": self.busiest}

    @property
    def corners(self) -> Any:
        return self.program.corners or None


def operation_entry(made: MadeFile, job: Job) -> OperationEntry:
    """Return the entry about `made`, a file planned for `job`."""
    feeds = feed_report(job, made.work, made.program.used)
    busiest = most_a_second(made.program.passes, job.machine.motion_limits)
    return OperationEntry(made, made.program, busiest, feeds, tuple(uncut(made.work)) or None)
