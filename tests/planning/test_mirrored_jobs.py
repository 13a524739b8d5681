"""A job mirrored in X or Y, or turned by half, is the mirrored board: deck, polygons, checks and
their places.

What a false station, a sign or a side does to one end alone shows in no symmetric job.
"""

from __future__ import annotations

import copy
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from corepath.job.model import Job
from corepath.planning.prepare import Prepared, prepare_job

MOTIONS = {"mirrored in X": (-1, 1), "mirrored in Y": (1, -1), "turned by half": (-1, -1)}

SAME = 1e-6
"""mm, for heights and the figures of checks."""

POLYGON = 1e-5
"""mm, for polygons: an offset's round joins are cut into chords from that end of the arc which
comes first."""

ONE_PLACE = ("clean-up", "spacing")
"""Checks whose worst place is one alone; on a blank that nobody measured all of the groove is as
good as its worst."""


def drawn(seed: int) -> dict[str, Any]:
    """An ordinary small job without any symmetry: all that may differ between left and right, nose
    and tail, does."""
    rng = np.random.default_rng(seed)
    long, wide = rng.uniform(70.0, 95.0, 2), rng.uniform(26.0, 34.0, 4)
    around = [
        (-long[0], 0.0), (-0.8 * long[0], -0.7 * wide[0]), (-0.1 * long[0], -wide[1]),
        (0.7 * long[1], -0.8 * wide[1]),
        (long[1], rng.uniform(-4.0, 4.0)), (0.75 * long[1], 0.75 * wide[2]), (0.1 * long[1],
        wide[3]),
        (-0.75 * long[0], 0.7 * wide[3]),
    ]  # fmt: skip
    heights = np.round(rng.uniform(6.2, 7.6, 4), 2)
    stations = [[-long[0], heights[0]], [-20.0, heights[1]], [12.0, 8.0], [long[1], heights[3]]]
    touch = [round(rng.uniform(-20.0, 20.0), 1), round(rng.uniform(-6.0, 6.0), 1)]
    return {
        "title": f"Drawn {seed}",
        "board": {"thickness": 8.0, "edge_thickness": 4.6},
        "outline": {"points": [list(map(float, point)) for point in around], "smooth": True},
        "deck": {
            "stations": [[float(x), float(t)] for x, t in stations],
            "profile": [[-50.0, 0.1], [5.0, 0.5], [60.0, 0.2]],
            "patch": [
                {"at": [[18.0, -6.0]], "size": [22.0, 14.0], "angle": 25.0, "flat": 7.0,
                "blend": 5.0},
                {"at": [[-22.0, 8.0]], "diameter": 14.0, "raised": 0.3, "blend": 4.0},
            ],
            "edge_band": 8.0, "blend": 15.0, "smooth": float(rng.choice([0.0, 30.0])),
            "least_radius": 30.0,
        },
        "blank": {"length": 2.0 * max(long) + 66.0, "width": 110.0, "thickness": 10.6},
        "groove": {"inside": 6.0, "outside": 5.0, "floor": 1.2},
        "plug": [{
            "name": "P1", "at": [[-44.0, 5.0]], "diameter": 12.0, "bolt_hole": 5.5, "slot": 19.0,
            "angle": float(rng.uniform(-80.0, 80.0)),
        }],
        "insert": [
            {"name": "I1", "at": [[20.0, -5.0]], "barrel": 6.5, "flange": 13.0,
            "flange_thickness": 1.2, "length": 5.0}
        ],
        "dowel": [
            {"at": [-max(long) - 25.0, 0.0], "diameter": 5.0, "depth_in_bed": 7.0, "stand": 3.5},
            {"at": [max(long) + 16.0, 0.0], "diameter": 5.0, "depth_in_bed": 7.0, "stand": 3.5},
        ],
        "machine": {
            "travel": [700, 400, 80], "flip_about": "x", "z_zero": str(rng.choice(["bed", "face"])),
            "touch_at": touch
        },
        "screw": [{"at": [[-30.0, 49.0], [50.0, -49.0]], "head": 8.0, "head_height": 3.0}],
        "cutter": [
            {"number": 1, "shape": "flat", "diameter": 4.0, "cutting_length": 20.0,
            "stick_out": 28.0},
            {"number": 2, "shape": "flat", "diameter": 20.0, "cutting_length": 16.0,
            "stick_out": 38.0},
            {"number": 3, "shape": "ball", "diameter": 12.0, "cutting_length": 25.0,
            "stick_out": 36.0},
        ],
    }  # fmt: skip


def moved(data: dict[str, Any], sx: int, sy: int) -> dict[str, Any]:
    """The same job with every place times (sx, sy) and every direction accordingly."""
    job = copy.deepcopy(data)

    def place(at: list[float]) -> list[float]:
        return [sx * at[0], sy * at[1]]

    def along(pairs: list[list[float]]) -> list[list[float]]:
        return [[sx * x, value] for x, value in pairs][::sx]

    job["outline"]["points"] = [place(at) for at in job["outline"]["points"]][:: sx * sy]
    for key in ("stations", "profile"):
        job["deck"][key] = along(job["deck"][key])
    for part in (*job["plug"], *job["insert"], *job["screw"], *job["deck"]["patch"]):
        part["at"] = [place(at) for at in part["at"]]
        if "angle" in part:
            part["angle"] *= sx * sy
    for dowel in job["dowel"]:
        dowel["at"] = place(dowel["at"])
    job["machine"]["touch_at"] = place(job["machine"]["touch_at"])
    return job


def prepared(data: dict[str, Any]) -> Prepared:
    return prepare_job(Job.model_validate(data, context={"scale": 1.0}), Path())


@pytest.mark.whole
@pytest.mark.parametrize("seed", [15, 29, 44])
def test_a_mirrored_job_is_the_mirrored_board(seed: int) -> None:
    data = drawn(seed)
    one = prepared(data)
    for name, (sx, sy) in MOTIONS.items():
        other = prepared(moved(data, sx, sy))
        grid = one.board.deck.grid[::sx, ::sy]
        assert np.abs(other.board.deck.grid - grid).max() < SAME, name
        _same_polygons(one, other, sx, sy, name)
        _same_checks(one, other, sx, sy, name)


def _same_polygons(one: Prepared, other: Prepared, sx: int, sy: int, name: str) -> None:
    def areas(of: Prepared) -> list[shapely.Polygon]:
        board = of.board
        discs = [place.seat.area for place in board.places]
        return [
            board.outline,
            board.ring,
            board.island,
            *(casting.area for casting in board.castings),
            *discs,
        ]

    for first, second in zip(areas(one), areas(other), strict=True):
        back = shapely.transform(second, lambda points: points * (sx, sy))
        away = shapely.hausdorff_distance(
            first.segmentize(0.5).boundary, back.segmentize(0.5).boundary
        )
        assert away < POLYGON, name


def _same_checks(one: Prepared, other: Prepared, sx: int, sy: int, name: str) -> None:
    for first, second in zip(one.checks, other.checks, strict=True):
        assert (first.id, first.verdict) == (second.id, second.verdict), name
        for key in ("value", "worst", "rss", "limit"):
            assert getattr(second, key) == pytest.approx(getattr(first, key), abs=SAME), (
                name,
                first,
                second,
            )
        if first.id in ONE_PLACE:
            assert _places(second.where) == pytest.approx(
                _places(first.where) * (sx, sy), abs=0.11
            ), (first, second)


def _places(where: str) -> np.ndarray:
    return np.array(
        [
            [float(x), float(y)]
            for x, y in re.findall(
                r"X(-?[\d.]+) "
                r"Y(-?[\d.]+)",
                where,
            )
        ]
    ).reshape(-1, 2)
