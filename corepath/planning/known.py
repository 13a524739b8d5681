"""What is known of the blank at hand: the places measured before, and what was recorded while it
was cut."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from corepath.errors import Fault, InputError
from corepath.job.measured import Measured, read_measured
from corepath.job.model import Job
from corepath.job.record.ascut import load_record, record_path
from corepath.job.record.settled import Settled
from corepath.lengths import units_of
from corepath.stackup.measuring.blank import Blank

__all__ = ["Known", "read_known"]

IN_A = ("dowels", "plug-pockets", "groove")
"""Operations that touch the raw top of the blank as it came."""


@dataclass(frozen=True, slots=True)
class Known:
    """Measurements of one blank: `measured` is None for a blank that was not measured; `settled` is
    empty before anything is recorded."""

    measured: Measured | None = None
    settled: Settled = field(default_factory=Settled)

    def blank(self, job: Job) -> Blank:
        """Return the blank as planning uses it: fitted to the measured and recorded places, or
        nominal without any.

        A recorded touch of the raw top in A is a measured height at the touched place.
        """
        points = [*self.settled.thickness, *self._touched(job)]
        heights = self.settled.heights
        if self.measured is None and not points and not heights:
            return Blank.assumed(job)
        return Blank.from_measured(job, self.measured, points, heights)

    def _touched(self, job: Job) -> list[tuple[float, float, float]]:
        heights = [self.settled.touches[name] for name in IN_A if name in self.settled.touches]
        # All of them touched the same place of the same face: the last one counts.
        return (
            [(*job.machine.touch_at, heights[-1])]
            if heights and job.machine.touch_at is not None
            else []
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the entries for `job.resolved.json` and the digest; empty keys are left out."""
        # Left out, so that the digest of a job without measurements does not depend on them.
        found: dict[str, Any] = {}
        if self.measured is not None:
            found["measured"] = _measured_dict(self.measured)
        if self.settled != Settled():
            found["record"] = self.settled.as_dict()
        return found

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> Known:
        """Return what `as_dict` gave. Raises KeyError, TypeError or ValueError for other data."""
        measured, record = data.get("measured"), data.get("record")
        return Known(
            _measured_from(measured) if measured else None,
            _settled_from(record) if record else Settled(),
        )


COLUMNS = ("x", "y", "thickness", "height")


def _measured_dict(measured: Measured) -> dict[str, Any]:
    """Return lists by column; None where a figure was not taken, since JSON has no NaN."""
    return {
        name: [None if math.isnan(figure) else float(figure) for figure in getattr(measured, name)]
        for name in COLUMNS
    }


def _measured_from(data: Mapping[str, Any]) -> Measured:
    try:
        columns = [
            np.array([math.nan if v is None else float(v) for v in data[name]]) for name in COLUMNS
        ]
        if len({len(column) for column in columns}) != 1:
            raise ValueError
    except (KeyError, TypeError, ValueError) as error:
        raise InputError([Fault("measured", "the measured places do not fit together")]) from error
    x, y, thickness, height = columns
    return Measured(x, y, thickness, height)


def _settled_from(data: Mapping[str, Any]) -> Settled:
    """The inverse of `Settled.as_dict`."""
    try:
        return Settled.from_dict(data)
    except (TypeError, ValueError) as error:
        raise InputError([Fault("record", "the settled figures do not fit together")]) from error


def read_known(job: Job, job_path: Path) -> tuple[Known, list[Fault]]:
    """Read the measured blank that the job names, and the record beside the job, if there is one.

    Returns what could be read, and all faults of both files, so that they are reported together.
    """
    faults: list[Fault] = []
    measured: Measured | None = None
    settled = Settled()
    scale = units_of(job.units).scale
    if job.blank.measured is not None:
        try:
            measured = read_measured(
                job_path.parent / job.blank.measured, blank=job.blank, scale=scale
            )
        except InputError as error:
            faults += error.faults
    try:
        settled = load_record(record_path(job_path)).settled()
    except InputError as error:
        faults += error.faults
    return Known(measured, settled), faults
