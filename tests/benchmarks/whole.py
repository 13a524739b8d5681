"""Whole plans: seconds of the processor against a sort by numpy in the same run, memory, growth
with the board's length, and a board with very many plugs and inserts.

The sort stands for how fast the machine is at the time: it does none of the same work. Each plan is
a process of its own, on one core, and keeps nothing from one run to the next but compiled loops.
"""

from __future__ import annotations

import os
import re
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.paths import dense_job
from tests.benchmarks.table import Figure, Row
from tests.benchmarks.timing import IDLE, SAMPLE, Timed, cpu, run_python

__all__ = ["SORT", "lengths", "plans", "sorting"]

CLI = "from corepath.cli import main; main()"

SORTED = 10_000_000
SORT = f"stable sort of {SORTED:,} numbers by numpy"
LENGTHS = (1.0, 1.4, 2.0)
"""Factors on the sample's length."""

POINTS = 5_000
PLUGS, INSERTS = 60, 200
PITCH = 34.0
"""mm between plugs and inserts of the crowded board: flanges of 19 mm, and room between them."""


def sorting(watch: Callable[[Callable[[], object], int], Timed]) -> Timed:
    """The sort, timed by `watch`."""
    values = np.random.default_rng(1).random(SORTED)
    return watch(lambda: np.sort(values, kind="stable"), 3)


def _plan(job: Path, folder: Path, *options: str, kept: bool = False) -> tuple[float, float]:
    """CPU seconds and peak memory (MiB) of one plan; `kept`: with the paths that earlier plans of
    this folder kept. Compiled loops stay in `folder` too."""
    own = {"NUMBA_CACHE_DIR": str(folder / "cache"), "XDG_CACHE_HOME": str(folder / "kept")}
    call = ["plan", str(job), "-o", str(folder / "out"), "-q", "--cores", "1"]
    without = [] if kept else ["--no-cache"]
    # with failed checks a plan ends with 1 also where it is made despite them
    allowed = (0, 1) if "--despite-failures" in options else (0,)
    ran = run_python(CLI, [*call, *without, *options], {**os.environ, **own}, allowed)
    return ran.cpu, ran.peak


def plans() -> Iterator[Row]:
    """First run and later runs of the board, the board with one insert moved, the coupon, and the
    crowded board."""
    sort = sorting(cpu)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first, _ = _plan(SAMPLE, folder)
        later = [_plan(SAMPLE, folder) for _ in range(2)]
        _plan(SAMPLE, folder, kept=True)  # keeps the paths
        again = [_plan(SAMPLE, folder, kept=True)[0] for _ in range(2)]
        moved = [_plan(moved_job(folder, by), folder, kept=True)[0] for by in (1, 2)]
        coupon = [_plan(SAMPLE.with_name("coupon.toml"), folder)[0] for _ in range(2)]
        crowded = _plan(crowded_job(folder), folder, "--despite-failures")[0]
    for what, spent, limit in (
        ("plan of board-1280, first run", (first,), 25.0),
        ("plan of board-1280, later run, no path kept", tuple(one for one, _ in later), 12.0),
        ("plan of board-1280, later run, paths kept", tuple(again), 12.0),
        ("plan of board-1280 again, one insert moved, paths kept", tuple(moved), 8.0),
        ("plan of the coupon, later run", tuple(coupon), 5.0),
        (f"plan with {PLUGS} plugs, {INSERTS} inserts, {POINTS:,} points", (crowded,), 35.0),
    ):
        yield Row.against(what, Timed(spent), SORT, sort, limit / IDLE["sort"])
    peak = max(one for _, one in later)
    yield Row("plan of board-1280, later run, peak memory", Figure(peak, "MiB", runs=2), 550.0)


def moved_job(folder: Path, by: int) -> Path:
    """The sample with its leash loop `by` mm aside."""
    text, place = SAMPLE.read_text(), "at = [[-96, 47]]"
    if text.count(place) != 1:
        raise ValueError(f"{SAMPLE} has no insert at {place}")
    path = folder / f"moved-{by}.toml"
    path.write_text(text.replace(place, f"at = [[{by - 96}, 47]]"))
    return path


def crowded_job(folder: Path) -> Path:
    """The sample with an outline of `POINTS` points, and rows of plugs and inserts all over it."""
    job = dense_job(folder, POINTS)
    text = job.read_text()
    begin, end = text.index("[[plug]]"), text.index("[[dowel]]")
    places = [
        (PITCH * (column - 16), PITCH * (row - 3.5)) for column in range(33) for row in range(8)
    ]
    plugs, inserts = places[:PLUGS], places[PLUGS : PLUGS + INSERTS]
    parts = tomllib.loads(text)
    plug, insert = dict(parts["plug"][0]), dict(parts["insert"][0])
    for one in (plug, insert):
        for key in ("pattern", "mirror"):  # all places stand in `at`
            one.pop(key, None)
    plug["at"], insert["at"] = ([list(place) for place in some] for some in (plugs, inserts))
    tables = f"[[plug]]\n{_keys(plug)}\n[[insert]]\n{_keys(insert)}\n"
    job.write_text(text[:begin] + tables + text[end:])
    return job


def _keys(table: dict[str, Any]) -> str:
    return "".join(f"{key} = {_value(value)}\n" for key, value in table.items())


def _value(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else repr(value).replace("'", '"')


def stretched_job(folder: Path, factor: float) -> Path:
    """The sample `factor` times as long: every X, and the blank's length."""
    pair = re.compile(r"\[(-?[\d.]+), ")
    parts = re.split(r"(?m)^(?=\[)", SAMPLE.read_text())
    scaled = [
        pair.sub(lambda found: f"[{float(found[1]) * factor}, ", part)
        if part.startswith(("[outline]", "[deck]", "[[plug]]", "[[insert]]", "[[dowel]]"))
        else re.sub(r"(?m)^length = .*$", f"length = {1400 * factor}", part)
        if part.startswith("[blank]")
        else part
        for part in parts
    ]
    text = "".join(scaled)
    # dowels as a pair of numbers, not in a list
    text = re.sub(r"(?m)^travel = \[\d+", "travel = [9000", text)
    path = folder / f"long-{factor:g}.toml"
    path.write_text(text)
    return path


def lengths() -> Iterator[Row]:
    """Growth with the board's length of a whole plan, the groove's path, the writing of all files,
    and the bound of their minutes."""
    from corepath.gcode.write.writer import write
    from corepath.operations import programs
    from corepath.planning.make import heading_of, make_files
    from corepath.planning.prepare import prepare
    from corepath.work.least_time.minutes import least_time

    spent: dict[str, list[tuple[float, Timed]]] = {}
    with tempfile.TemporaryDirectory() as name:
        _plan(SAMPLE, Path(name))  # compiles the loops
        for factor in LENGTHS:
            long = stretched_job(Path(name), factor)
            whole = Timed((_plan(long, Path(name))[0],))
            spent.setdefault("whole plan", []).append((1280.0 * factor, whole))
            prepared = prepare(long)
            made, job = make_files(prepared), prepared.job
            groove = next(work for work in prepared.works if work.name == "groove")

            def texts(prepared: Any = prepared, made: Any = made, job: Any = job) -> None:
                for one in made:
                    heading = heading_of(prepared, one.work.setup, one.minutes)
                    write(one.program, heading, machine=job.machine, units=job.units)

            def bounds(prepared: Any = prepared, job: Any = job) -> None:
                for work in prepared.works:
                    least_time(work, job.machine.motion_limits)

            calls: dict[str, Callable[[], object]] = {
                "path of the groove": lambda groove=groove: programs(groove),  # type: ignore[misc]
                "writing of all files": texts,
                "bound of minutes, all works": bounds,
            }
            for what, call in calls.items():
                spent.setdefault(what, []).append((1280.0 * factor, cpu(call, 3)))
    for what, times in spent.items():
        yield Row.growing(what, "mm", times, 1.1, "the sample stretched along X")
