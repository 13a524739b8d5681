"""A small sound job for the board's tests, changed key by key."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest

from corepath.job.model import Job


@pytest.fixture(autouse=True)
def _made_here(boards_anew: None) -> None:
    """How a board is made is what these tests are about."""


SOUND: dict[str, Any] = {
    "title": "Trial",
    "board": {"thickness": 8.0, "edge_thickness": 5.0},
    "outline": {"stations": [[-100, 0], [-94, 19], [-72, 29], [-30, 32], [20, 30], [62, 24], [82,
    13], [88, 0]]},
    "deck": {"stations": [[-100, 6.2], [5, 8.0], [88, 7.8]], "edge_band": 10.0, "blend": 16.0,
    "least_radius": 8.0},
    "blank": {"length": 240.0, "width": 90.0, "thickness": 10.6},
    "groove": {"inside": 6.0, "outside": 5.0, "floor": 1.2},
    "plug": [{"name": "P1", "at": [[-66, 7]], "diameter": 14.0, "bolt_hole": 5.5}],
    "insert": [
        {"name": "I1", "at": [[34, -5]], "barrel": 6.5, "flange": 15.0, "flange_thickness": 1.2,
        "length": 5.5}
    ],
    "dowel": [
        {"at": [-113, 0], "diameter": 5.0, "depth_in_bed": 7.0, "stand": 3.5},
        {"at": [102, 0], "diameter": 5.0, "depth_in_bed": 7.0, "stand": 3.5},
    ],
    "machine": {"travel": [700, 400, 80]},
    "cutter": [
        {"number": 1, "shape": "flat", "diameter": 4.0, "cutting_length": 20.0, "stick_out": 28.0,
         "chip_load": 0.07, "rpm": 18000.0}
    ],
}  # fmt: skip


@pytest.fixture
def make_job() -> Callable[..., Job]:
    """`make_job({"groove.inside": 4, "plug.0.at": [[0, 0]]})` gives the sound job with those keys
    changed."""

    def make(changes: dict[str, Any] | None = None) -> Job:
        data = copy.deepcopy(SOUND)
        for path, value in (changes or {}).items():
            *way, last = path.split(".")
            table: Any = data
            for name in way:
                table = table[int(name)] if isinstance(table, list) else table.setdefault(name, {})
            if value is None:
                table.pop(last, None)
            elif isinstance(table, list) and int(last) == len(table):
                table.append(value)
            else:
                table[int(last) if isinstance(table, list) else last] = value
        return Job.model_validate(data, context={"scale": 1.0})

    return make
