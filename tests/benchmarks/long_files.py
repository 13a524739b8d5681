"""Reading of very long files: peak memory of five million lines against half a million, each in its own process."""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

__all__ = ["long_files", "write_long"]

ROOT = Path(__file__).resolve().parents[2]
FEW, MANY = 500_000, 5_000_000
BLANK = "600x400x20"


def write_long(path: Path, lines: int) -> None:
    """Lines over a blank of 600 by 400, up and down a wave, until there are `lines` of them."""
    with path.open("w", encoding="ascii", newline="\n") as file:
        file.write(
            "%\nG17 G21 G90 G94 G54\nG40 G49 G80 G64\nT1\nM3 S18000\nG4 P3\nG0 X-300 Y-200 Z5\nG1 Z-1 F600\nF3000\n"
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


def _run(path: Path) -> tuple[float, float]:
    """Seconds and peak MiB of `corepath readback` on one file."""
    code = (
        "import resource, sys\n"
        f"sys.argv = ['corepath', 'readback', {str(path)!r}, '--blank', '{BLANK}', '--cutter', 'ball:6', '--json']\n"
        "from corepath.cli import main\n"
        "try:\n    main()\n"
        "finally:\n    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)\n"
    )
    begin = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    spent = time.perf_counter() - begin
    if done.returncode not in (0, 1):
        raise RuntimeError(done.stderr)
    return spent, int(done.stderr.split()[-1]) / (1024 if sys.platform != "darwin" else 1024 * 1024)


def long_files() -> Iterator[str]:
    """Peak memory and seconds of both, and their ratio."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.nc"
        write_long(path, 2_000)
        _run(path)
        found = []
        for lines in (FEW, MANY):
            write_long(path, lines)
            found.append((*_run(path), path.stat().st_size / 2**20))
    (few_s, few, _), (many_s, many, size) = found
    verdict = "ok" if many <= 1.1 * few else "OVER"
    yield (
        f"{verdict:5}reading back {MANY:,} lines ({size:.0f} MiB): peak {many:.0f} MiB, {many / few:.3f} x that of "
        f"{FEW:,} ({few:.0f} MiB); {many_s:.0f} s against {few_s:.0f} s; target 1.1 x"
    )


if __name__ == "__main__":
    print(*long_files(), sep="\n")
