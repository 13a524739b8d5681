"""Read the file of a bed back: cut a virtual spoil board, or blank, by its text, and compare all of
it with what the file is for.

The text is read as that of any file that corepath did not write (`readback/foreign`), so its
findings hold here too: rapids through material, a cut before the spindle is up, a cutter that is
not the one called. What is left is compared column by column; a band of one column beside each
wall is left out, since a column there may stand on either side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.gcode.read.findings import Finding
from corepath.job.model import Job
from corepath.lengths import mm
from corepath.motion.program import Program
from corepath.readback.foreign.foreign_facts import Foreign, ForeignSetup, There
from corepath.readback.foreign.foreign_file import read_foreign
from corepath.reported import Key, report_keys
from corepath.stock.material import NOWHERE
from corepath.work.bed_works import BedWork

__all__ = ["BedProof", "prove"]

_CELLS = 1_500_000
"""Columns at most: a spoil board of a square metre every 0.8 mm."""


@report_keys(
    Key("cut_low", places=4), Key("cut_high", places=4), Key("beside", places=4),
    Key("area", places=1), "findings",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class BedProof:
    """What the read-back found: the lowest and highest place of all that was to be cut, from the
    top as touched, and how far anything beside it was lowered, mm; `area` is what was compared of
    the cut, mm²."""

    cut_low: float
    cut_high: float
    beside: float
    area: float
    findings: tuple[Finding, ...]


def prove(job: Job, work: BedWork, program: Program, text: str, there: There = ()) -> BedProof:
    """Return what the text of one file leaves; `there` is what is cut already."""
    body = work.body
    cell = max(0.25, (body.length * body.width / _CELLS) ** 0.5)
    bench = ForeignSetup(
        length=body.length,
        width=body.width,
        thickness=body.thickness,
        zero=body.zero,
        cutters={program.cutter.number: program.cutter},
        limits=job.machine.motion_limits,
        spin_up=job.machine.spin_up,
        spoil_board=job.blank.spoil_board if body.zero[2] == 0.0 else 0.0,
        inch=job.units == "inch",
        cell=cell,
        there=there,
    )
    read = read_foreign(text, f"{work.stem}.nc", bench)
    return _compared(work, read)


def _compared(work: BedWork, read: Foreign) -> BedProof:
    body, allowed, findings = work.body, read.bench.allowed, read.findings
    top, grid = read.stock.top, read.stock.grid
    inside, outside = _columns(work, grid.xs, grid.ys, grid.cell)
    # heights from the top as touched; what is cut through has none
    heights = np.where(top < NOWHERE / 2.0, -np.inf, top - body.zero[2])
    level = 0.0 if body.zero[2] else body.thickness
    cut, kept = heights[inside], heights[outside]
    through = work.floor < 0.0 and body.zero[2] == 0.0
    low, high = (float(f(cut, initial=g)) for f, g in ((np.min, np.inf), (np.max, -np.inf)))
    lowered = float(level - np.min(kept, initial=level))
    if through:
        wrong = bool(np.isfinite(cut).any())
        low = high = work.floor
    else:
        wrong = max(abs(low - work.floor), abs(high - work.floor)) > allowed.heights
    if not len(cut) or wrong:
        says = f"it cuts to {mm(low):.3f} to {mm(high):.3f} instead of {mm(work.floor):.3f}"
        findings.add("plane" if work.name == "face" else "floor", says)
    if lowered > allowed.removal:
        findings.add("outside-area", f"it lowers what is to stay by {mm(lowered):.3f}")
    area = float(inside.sum()) * grid.px * grid.py
    return BedProof(low, high, lowered, area, tuple(findings))


def _columns(
    work: BedWork, xs: NDArray[np.float64], ys: NDArray[np.float64], cell: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which columns lie well inside of what is cut, and which well beside it."""
    band = cell
    shapely.prepare(inner := work.cut.buffer(-band))
    shapely.prepare(outer := work.cut.buffer(band))
    x, y = np.meshgrid(xs, ys)
    near = np.zeros(x.shape, dtype=bool)
    # only the columns about the cut are asked one by one
    low_x, low_y, high_x, high_y = outer.bounds
    where = (x >= low_x) & (x <= high_x) & (y >= low_y) & (y <= high_y)
    inside = near.copy()
    inside[where] = shapely.contains_xy(inner, x[where], y[where])
    near[where] = shapely.intersects_xy(outer, x[where], y[where])
    return inside, ~near
