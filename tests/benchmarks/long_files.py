"""Reading of very long files: peak memory of five million lines against half a million, each in its
own process."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.table import Figure, Row
from tests.benchmarks.timing import Ran, Timed, run_python

__all__ = ["long_files", "write_long"]

FEW, MANY = 500_000, 5_000_000
BLANK = "600x400x20"


def write_long(path: Path, lines: int) -> None:
    """Lines over a blank of 600 by 400, up and down a wave, until there are `lines` of them."""
    with path.open("w", encoding="ascii", newline="\n") as file:
        file.write(
            "%\nG17 G21 G90 G94 G54\nG40 G49 G80 G64\nT1\nM3 S18000\nG4 P3\nG0 X-300 Y-200 Z5\nG1 "
            "Z-1 F600\nF3000\n"
        )
        written, row, step = 9, 0, 0.5
        across = int(600 / step)
        rows = max((lines - 12) // across, 1)
        while written < lines - 4:
            y = -200 + 400 * row / rows
            for k in range(across):
                x = -300 + (k if row % 2 == 0 else across - 1 - k) * step
                file.write(f"G1 X{x:.3f} Y{y:.4f} Z{-2 + math.sin(x * 0.02 + row * 0.01):.4f}\n")
                written += 1
                if written >= lines - 4:
                    break
            row += 1
        file.write("G0 Z5\nM5\nM30\n%\n")


def _run(path: Path) -> Ran:
    """`corepath readback` on one file; what it finds is no fault here."""
    call = ["readback", str(path), "--blank", BLANK, "--cutter", "ball:6", "--json"]
    return run_python("from corepath.cli import main; main()", call, allowed=(0, 1))


def long_files() -> Iterator[Row]:
    """Peak memory and seconds of both."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.nc"
        write_long(path, 2_000)
        _run(path)
        found = []
        for lines in (FEW, MANY):
            write_long(path, lines)
            found.append(_run(path))
        size = path.stat().st_size / 2**20
    few, many = found
    name = f"reading back {MANY:,} lines ({size:.0f} MiB)"
    yield Row(
        f"{name}, peak memory",
        Figure(many.peak, "MiB"),
        1.1,
        f"{FEW:,} lines",
        Figure(few.peak, "MiB"),
    )
    spent = [(float(lines), Timed((ran.cpu,))) for lines, ran in ((FEW, few), (MANY, many))]
    yield Row.growing(name, "lines", spent, 1.25)
