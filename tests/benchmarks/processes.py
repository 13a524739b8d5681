"""Whole processes: the help against an import, and the plan of the sample board as a user waits for
it."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.table import Row
from tests.benchmarks.timing import IDLE, SAMPLE, Timed, run_python, wall
from tests.benchmarks.whole import SORT, sorting

__all__ = ["help", "whole_plan"]

CLI = "from corepath.cli import main; main()"


def help() -> Iterator[Row]:
    """`corepath --help` against importing typer alone; CPU seconds of each process."""

    def spent(code: str, *arguments: str) -> Timed:
        return Timed(tuple(run_python(code, arguments).cpu for _ in range(5)))

    yield Row.against(
        "corepath --help", spent(CLI, "--help"), "import typer", spent("import typer"), 2.0
    )


def whole_plan() -> Iterator[Row]:
    """Planning the sample by the clock, with read-back, on all cores: first with empty caches of
    compiled loops and of paths, then with full ones."""
    sort = sorting(wall)
    with tempfile.TemporaryDirectory() as folder:
        own = {"NUMBA_CACHE_DIR": f"{folder}/cache", "XDG_CACHE_HOME": f"{folder}/kept"}
        environment = {**os.environ, **own}
        call = ["plan", str(SAMPLE), "-o", str(Path(folder) / "out"), "-q"]
        first, *later = (run_python(CLI, call, environment) for _ in range(3))
    for name, ran, seconds in (("first run", [first], 25.0), ("later run", later, 8.0)):
        best = min(ran, key=lambda one: one.seconds)
        yield Row.against(
            f"plan of board-1280 by the clock, {name}", Timed(tuple(one.seconds for one in ran)),
            SORT, sort, seconds / IDLE["sort"], f"{best.cpu:.1f} s of the processor",
        )  # fmt: skip
