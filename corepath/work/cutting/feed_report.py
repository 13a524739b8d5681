"""The arithmetic of feeds and speeds of one operation, as `report.json` has it.

Lengths in mm, feeds in mm/min, speed of the edge in m/min, removal in cm³/min, energy in J/cm³,
power in W, forces in N, torque in N·m. A figure that depends on the energy of the cut is given as
[low, high] or [likely, high].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from corepath.job.model import Job
from corepath.job.tables.cutting_table import cutting_energy, kind_of_wood
from corepath.motion.feeds.chips import surface_speed
from corepath.reported import reported
from corepath.work.cutting.loads import PlannedCut, cuts_of, heaviest, load_of, rim_of
from corepath.work.cutting.running import wood_density
from corepath.work.works import Work

__all__ = ["feed_report"]


def feed_report(
    job: Job, work: Work, used: Sequence[tuple[float, float, float]] = ()
) -> dict[str, Any]:
    """The `feeds` of an operation for the report: where each figure comes from and the load of
    every kind of cut, the heaviest first.

    `used` is that of the program (`corepath.motion.program.Program`): with it every cut is reported
    at the fastest feed that its file has for it, beside the slowest one on its bends.
    """
    cutter, run, density = work.cutter, work.cutting, wood_density(job)
    energy = cutting_energy(density)
    ends = {planned: (slowest, fastest) for planned, slowest, fastest in used}
    loads = tuple(load_of(work, _as_used(cut, ends), energy) for cut in cuts_of(work))
    most = heaviest(loads)
    found = {
        "chip_load": round(run.feed / (cutter.flutes * run.rpm), 4),
        "source": run.origin.chip_load if run.origin.feed != "job" else "feed of the job",
        "rpm_source": run.origin.rpm,
        "feed_source": run.origin.feed,
        "teeth": cutter.flutes,
        "rpm": run.rpm,
        "surface_speed": round(surface_speed(rim_of(work), run.rpm), 1),
        "feed": run.feed,
        "ramp": run.ramp,
        "plunge": run.plunge,
        "finish": run.finish,
        "wood": {"density": density, "kind": kind_of_wood(density)},
        "energy": energy,
        "heaviest": most.cut.name,
        **reported(most),
        "cuts": [{"cut": load.cut.name, "wall": load.cut.wall, **reported(load)} for load in loads],
    }
    # Speeds and feeds as they are, as far as they are not rounded above.
    plain: dict[str, Any] = reported(found, None)
    return plain


def _as_used(cut: PlannedCut, ends: dict[float, tuple[float, float]]) -> PlannedCut:
    """The cut at the fastest feed that the file has for it: in a small pocket that is lower than
    planned."""
    planned = cut.planned or cut.feed
    if planned not in ends:
        return cut
    slowest, fastest = ends[planned]
    return replace(cut, feed=fastest, planned=planned, slowest=slowest)
