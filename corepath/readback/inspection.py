"""One file under inspection: its path, the blank before it and as it is now, how far a measure may
be off, and where measures and findings are noted. Bed frame of the set-up, mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings
from corepath.readback.simulation_setup import Allowed
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.material import Cut, Stock
from corepath.stock.path import Path

__all__ = ["Done", "Inspection"]


@dataclass(frozen=True, slots=True)
class Inspection:
    """The blank `stock` as it was cut along `path`, inspected within `allowed`; `before` [iy, ix]
    is its height map before the file."""

    path: Path
    stock: Stock
    before: NDArray[np.float32]
    allowed: Allowed
    measures: MeasureList
    findings: Findings


@dataclass(frozen=True, slots=True)
class Done(Inspection):
    """A whole file that was cut; `cut` is what each of its motions took."""

    cut: Cut
