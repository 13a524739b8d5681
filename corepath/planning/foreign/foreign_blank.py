"""Read a single file from any source and cut it on a virtual blank: `corepath readback FILE
--blank … --cutter …`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from corepath.errors import Fault, InputError, OutputError
from corepath.gcode.read.text_source import FileSource
from corepath.job.text.writing import replace_file
from corepath.lengths import mm
from corepath.planning.foreign.foreign_options import ForeignOptions, bench_of
from corepath.planning.progress import Progress, quiet
from corepath.readback.foreign.foreign_facts import Foreign, Spot
from corepath.readback.foreign.foreign_file import read_foreign
from corepath.reported import reported
from corepath.stock.material import NOWHERE
from corepath.views.maps.depth_sheet import DepthSheet, depth_sheet

__all__ = ["ForeignReading", "read_file", "write_depths"]

LARGEST_FILE = 4 * 2**30
"""bytes: a program larger than this is refused, as it would take hours."""


@dataclass(frozen=True, slots=True)
class ForeignReading:
    """The result of reading one file, with its digest."""

    path: Path
    sha256: str
    found: Foreign

    @property
    def failed(self) -> bool:
        return not self.found.ok

    @property
    def report(self) -> dict[str, Any]:
        return {"sha256": self.sha256, **reported(self.found)}


def read_file(path: Path, asked: ForeignOptions, progress: Progress = quiet) -> ForeignReading:
    """Read a file with the simulation set-up that the options describe.

    Raises InputError for wrong options, a file that cannot be read, and an option for units where
    the file states its own.
    """
    bench = bench_of(asked)
    progress(f"reading {path.name}, cutting the blank", 0.0)
    source = FileSource(path)
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError(
                [Fault("", f"larger than {LARGEST_FILE // 2**30} GiB", file=str(path))]
            )
        found, digest = read_foreign(source, path.name, bench), source.sha256()
    except OSError as error:
        raise InputError(
            [Fault("", f"cannot be read: {error.strerror}", file=str(path))]
        ) from error
    if asked.units is not None and found.program.units_stated:
        says = "the file states its units itself; leave the option out"
        raise InputError([Fault("--units", says, asked.units, file=str(path))])
    return ForeignReading(path, digest, found)


def write_depths(reading: ForeignReading, folder: Path) -> Path:
    """Draw the depths into `folder` as STEM.depths.svg; return its path. Raises OutputError; an
    earlier file is then still whole."""
    found = reading.found
    stock, bench = found.stock, found.bench
    # Columns with nothing left stand at NOWHERE, far below any height; halfway is safely between.
    gone = stock.top < NOWHERE / 2.0
    depth = np.where(gone, bench.thickness, bench.thickness - stock.top.astype(np.float64))
    sheet = DepthSheet(
        title=reading.path.name,
        xs=stock.grid.xs,
        ys=stock.grid.ys,
        depth=depth,
        gone=gone,
        size=(bench.length, bench.width, bench.thickness),
        zero=bench.zero,
        deepest=_place(found.deed.depth),
        least=_place(found.deed.left),
        rows=_rows(reading),
        notes=tuple(f"{count} {kind}" for kind, count in found.counts.items()),
        units=found.units,
    )
    target = folder / f"{reading.path.stem}.depths.svg"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        replace_file(target, depth_sheet(sheet).encode("utf-8"))
    except OSError as error:
        raise OutputError(f"{target}: cannot be written: {error.strerror or error}") from error
    return target


def _place(spot: Spot | None) -> tuple[float, float, float] | None:
    return None if spot is None else (spot.value, spot.x, spot.y)


def _rows(reading: ForeignReading) -> tuple[tuple[str, str], ...]:
    found = reading.found
    bench = found.bench
    cutters = [bench.cutter(number) for number in found.used]
    minutes = (
        f"{found.minutes.total:.1f}" if found.minutes.known else "not known: a cut has no feed"
    )
    x, y, z = bench.zero
    return (
        ("file", reading.path.name),
        ("blank", f"{mm(bench.length):g} x {mm(bench.width):g} x {mm(bench.thickness):g~}"),
        ("zero", f"X{mm(x):g} Y{mm(y):g} from the middle, Z{mm(z):g} above the bed"),
        (
            "cutters",
            ", ".join(dict.fromkeys(c.describe().replace("T-1 ", "") for c in cutters if c))
            or "none",
        ),
        ("minutes", minutes),
        ("removed", f"{found.deed.removed / 1000.0:.1f} cm³"),
        ("sha256", reading.sha256[:16]),
    )
