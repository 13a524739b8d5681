"""How soon the verdict is there: `check` as a process, and heights, checks and verdict again in one
process after a number has changed.

A process is held against one that only loads the libraries it cannot do without, with bytecode at
hand on both sides as on a user's machine. The engine is held against one distance transform of
scipy over a lattice as large as the deck's, which every deck from an outline needs in some form.
"""

from __future__ import annotations

import itertools
import os
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.table import Row
from tests.benchmarks.timing import IDLE, ROOT, SAMPLE, Timed, cpu, run_python

__all__ = ["engine", "verdict"]

CLI = "from corepath.cli import main; main()"
LIBRARIES = "import numpy, shapely, pydantic, typer, rich.table"
PLUGS, INSERTS, POINTS = 60, 200, 5_000


def verdict() -> Iterator[Row]:
    """`corepath check` of three jobs, and `corepath record`; CPU seconds of each process."""
    with tempfile.TemporaryDirectory() as folder:
        many = Path(folder) / "many.toml"
        many.write_text(_many(), encoding="utf-8")
        kept = {name: value for name, value in os.environ.items() if "BYTECODE" not in name}
        environment = {**kept, "PYTHONPYCACHEPREFIX": str(Path(folder) / "bytecode")}

        def spent(code: str, *words: str) -> Timed:
            # the first run writes the bytecode and, where one is needed, the compiled loops
            # and a board so crowded fails some checks, which is a verdict too: exit code 1
            runs = [run_python(code, words, environment, (0, 1)).cpu for _ in range(4)]
            return Timed(tuple(runs[1:]))

        loaded = spent(LIBRARIES)
        coupon = str(ROOT / "samples" / "coupon.toml")
        jobs = (("coupon", coupon, 0.6), ("board-1280, with its skin", str(SAMPLE), 1.0))
        name = f"{PLUGS} plugs, {INSERTS} inserts, {POINTS:,} points"
        for says, job, seconds in (*jobs, (name, str(many), 3.0)):
            mine = spent(CLI, "check", job, "--quiet")
            limit = seconds / IDLE["libraries"]
            yield Row.against(f"check of {says}", mine, LIBRARIES, loaded, limit)
        mine = spent(CLI, "record", coupon)
        yield Row.against("record of the coupon", mine, LIBRARIES, loaded, 0.7 / IDLE["libraries"])


def engine() -> Iterator[Row]:
    """Board-1280 again after a change, CPU seconds in one process."""
    from scipy.ndimage import distance_transform_edt

    from corepath.job.load import load_job
    from corepath.memory import settle_memory
    from corepath.planning.engine import Engine

    settle_memory()  # as the process that answers a page does
    job, at_hand = load_job(SAMPLE), Engine(SAMPLE.parent)
    lattice = np.pad(np.ones((1281, 421), dtype=np.bool_), 80)
    theirs = cpu(lambda: distance_transform_edt(lattice), 5)
    at_hand.prepared(job)
    steps = itertools.count(1)

    def changing(section: str, change: Callable[[Any, int], dict[str, Any]]) -> Timed:
        def again() -> None:
            held = getattr(job, section)
            new = held.model_copy(update=change(held, next(steps)))
            at_hand.prepared(job.model_copy(update={section: new}))

        return cpu(again, 5)

    def wider(held: Any, step: int) -> dict[str, Any]:
        stations = [(x, half + 0.01 * step * (half > 0.0)) for x, half in held.stations]
        return {"stations": tuple(stations)}

    rows = (
        ("the floor", "groove", lambda held, k: {"floor": held.floor + 0.001 * k}, 0.1),
        ("the deck", "deck", lambda held, k: {"blend": held.blend - 0.01 * k}, 0.4),
        ("the outline", "outline", wider, 0.4),
    )
    for says, section, change, seconds in rows:
        yield Row.against(
            f"board-1280 again, {says} changed", changing(section, change),
            "distance transform of 829,521 nodes by scipy", theirs,
            seconds / IDLE["transform"],
        )  # fmt: skip


def _many() -> str:
    """Board-1280 with many plugs, inserts and points of its outline, as a job file."""
    from shapely import get_coordinates

    from corepath.board.outline.make_outline import build_outline
    from corepath.job.load import load_job

    data = tomllib.loads(SAMPLE.read_text(encoding="utf-8"))
    edge = build_outline(load_job(SAMPLE), ROOT).exterior
    places = edge.interpolate(np.linspace(0.0, 1.0, POINTS, endpoint=False), normalized=True)
    data["outline"] = {"points": np.round(get_coordinates(places), 4).tolist()}
    plugs = [[-420 + 29 * k, y] for k in range(PLUGS // 2) for y in (-130, 130)]
    rows = [[-480 + 32 * k, 30 * row] for k in range(31) for row in range(-3, 4)]
    for name, places in (("plug", plugs), ("insert", rows[:INSERTS])):
        # all places stand in `at`
        kept = {key: one for key, one in data[name][0].items() if key not in ("pattern", "mirror")}
        data[name] = [{**kept, "at": places}]
    return "\n".join(_section(name, value) for name, value in data.items())


def _section(name: str, value: Any) -> str:
    if isinstance(value, list):
        return "\n".join(_table(f"[[{name}]]", row) for row in value)
    return _table(f"[{name}]", value) if isinstance(value, dict) else f"{name} = {_plain(value)}"


def _table(head: str, rows: dict[str, Any]) -> str:
    return "\n".join([head, *(f"{key} = {_plain(value)}" for key, value in rows.items())])


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return repr(value).replace("'", '"')
