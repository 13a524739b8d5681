"""Timed ratios, each against a named baseline: `python -m tests.benchmarks` from the project's folder.

pytest does not collect this. A ratio says more than seconds, since both sides run on the same machine, in turn, best of
several. Only the whole plan is given in seconds and MiB, as what a user waits for: with an empty cache of compiled
loops, then with a full one.
"""

from __future__ import annotations

import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from tests.benchmarks.deck_sources import deck_sources
from tests.benchmarks.long_files import long_files
from tests.benchmarks.offsets import offsets
from tests.benchmarks.paths import paths
from tests.benchmarks.reading import reading
from tests.benchmarks.stackup import stackup
from tests.benchmarks.timing import wall

ROOT = Path(__file__).resolve().parents[2]
CLI = "from corepath.cli import main; main()"
MOVES = 50_000


def ratio(name: str, ours: Callable[[], object], baseline: str, other: Callable[[], object], target: float) -> str:
    """One line: our time over the baseline's, and the target that it should keep under."""
    mine, theirs = wall(ours), wall(other)
    verdict = "ok" if mine <= target * theirs else "OVER"
    return (
        f"{verdict:5}{name}: {mine * 1e3:.0f} ms, {mine / theirs:.2f} x {baseline} ({theirs * 1e3:.0f} ms); "
        f"target {target:g}"
    )


def help_against_typer() -> Iterator[str]:
    """`corepath --help` against importing typer alone, both as whole processes."""

    def run(code: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)

    shown = run(f"import sys; sys.argv = ['corepath', '--help']; {CLI}")
    yield ratio("corepath --help", shown, "import typer", run("import typer"), 2.0)


def writer_against_a_plain_loop() -> Iterator[str]:
    """The writer against one f-string for each move: it also rounds, drops what repeats, and tracks extents."""
    from corepath.job.model import MachineSection
    from corepath.motion.cutter import Cutter, Cutting
    from corepath.motion.program import Pass, Program, Zero, line, rapid
    from corepath.post import write

    moves = [rapid(0, 0, 23.6)]
    moves += [line(300 * math.sin(k), k * 0.001, 10 + math.cos(k), 1000.0) for k in range(MOVES)]
    moves += [rapid(moves[-1].x, moves[-1].y, 23.6)]
    program = Program(
        "03-A-groove", 3, "A", "groove", Cutter(3, "flat", 6.0, 0.0, 2, 22.0, 30.0),
        Cutting(18000, 3600, 1800, 1188, 3, 2.4), Zero(0.0, 0.0, 0.0, "the bed", True), 23.6, (0.0, -200.0),
        (Pass.of(moves),),
    )  # fmt: skip
    machine = MachineSection(travel=(1500.0, 620.0, 90.0))

    def ours() -> object:
        return write(
            program, title="x", digest="0", machine=machine, units="mm", warning=None, minutes=1.0, face_up="deck up"
        )

    def loop() -> object:
        return "\n".join(f"G1 X{move.x:.4f} Y{move.y:.4f} Z{move.z:.4f}" for move in moves)

    yield ratio(f"writing {MOVES} moves", ours, "one f-string a move", loop, 10.0)


def growth() -> Iterator[str]:
    """What must grow with the length of a path, not with its square nor with the blank."""
    from corepath.motion.clock import Limits, seconds
    from corepath.motion.fit import fit_arcs
    from corepath.motion.program import line
    from corepath.readback.material import Stock

    def circle(count: int) -> np.ndarray:
        turn = np.linspace(0, 2 * math.pi, count)
        return np.column_stack([600 * np.cos(turn), 600 * np.sin(turn), np.zeros(count)])

    def path(count: int) -> list[object]:
        return [line(k * 0.3, math.sin(k * 0.01) * 50, 0.0, 3000.0) for k in range(count)]

    def cut(length: float) -> Callable[[], object]:
        angle = np.linspace(0, 40 * np.pi, 20_001)
        places = np.stack((40 * np.cos(angle), 40 * np.sin(angle), 10 - angle / 40), axis=1)
        numbers = np.arange(20_000, dtype=np.int64)
        return lambda: Stock(length, length, 12.0).cut(places[:-1], places[1:], numbers, 20_000, 5.0, 5.0)

    fit_arcs(circle(50), feed=1)
    few, many = circle(5_000), circle(20_000)
    yield ratio(
        "fitting 20,000 points", lambda: fit_arcs(many, feed=1), "5,000 points", lambda: fit_arcs(few, feed=1), 6.0
    )
    limits, short, long = Limits(6000.0, 500.0, 0.02), path(10_000), path(40_000)
    yield ratio(
        "timing 40,000 moves", lambda: seconds(long, limits), "10,000 moves", lambda: seconds(short, limits), 6.0
    )
    cut(100)()
    yield ratio("cutting a blank of 400 x 400", cut(400), "the same path in 200 x 200", cut(200), 2.5)


def whole_plan() -> Iterator[str]:
    """Seconds and peak memory of planning the sample board, with read-back, as a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        cache = str(Path(folder) / "cache")
        call = [sys.executable, "-c", CLI, "plan", "samples/board-1280.toml", "-o", str(Path(folder) / "out"), "-q"]
        for name in ("first run", "later run", "later run"):
            begin = time.perf_counter()
            subprocess.run(
                call, cwd=ROOT, env={**os.environ, "NUMBA_CACHE_DIR": cache}, capture_output=True, check=True
            )
            spent = time.perf_counter() - begin
            peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
            verdict = "ok" if spent < 20 and peak < 1536 else "OVER"
            yield f"{verdict:5}plan of board-1280, {name}: {spent:.1f} s, peak {peak:.0f} MiB; target 20 s, 1536 MiB"


def main() -> None:
    """Print one line for each ratio."""
    for part in (
        help_against_typer,
        writer_against_a_plain_loop,
        reading,
        growth,
        deck_sources,
        paths,
        offsets,
        stackup,
        long_files,
        whole_plan,
    ):
        for text in part():
            print(text, flush=True)


if __name__ == "__main__":
    main()
