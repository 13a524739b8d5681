"""Faults planted in the text of planned files: each is named, with a line and a place that lead to
it.

The sample coupon, set-up A. Where a fault goes is found in the motions as read, so that the bench
outlives a change of the paths.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from corepath.gcode.read.findings import Finding
from corepath.gcode.read.motions import read_program
from corepath.gcode.read.read_program import ReadProgram
from corepath.planning.make import make_files
from corepath.planning.prepare import prepare
from corepath.planning.proving.reading import read_files
from corepath.readback.result import ReadBack
from corepath.work.works import Work

GROOVE, PLUG = "03-A-groove.nc", "02-A-plug-pockets.nc"


@dataclass(frozen=True)
class Bench:
    """Prepared job, texts of set-up A, the groove's motions as read and their distance from its
    outer wall."""

    prepared: object
    texts: dict[str, str]

    def groove(self) -> Work:
        return next(work for work in self.prepared.works if work.name == "groove")

    def program(self, name: str = GROOVE) -> ReadProgram:
        return read_program(self.texts[name], name)

    def layers(self) -> list[float]:
        """Heights of the groove's level cuts from the highest down, the floor last."""
        program, floor = self.program(), self.groove().pockets[0].floor
        level = (program.kind > 0) & (np.abs(program.end[:, 2] - program.start[:, 2]) < 1e-9)
        long = np.hypot(*(program.end - program.start)[:, :2].T)
        heights, which = np.unique(np.round(program.end[level, 2], 3), return_inverse=True)
        way = np.bincount(which, long[level])
        return [float(z) for z in heights[(way > 100.0) & (heights > floor - 0.01)][::-1]]

    def off_wall(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Distance of the start and end of each motion from the groove's outer wall."""
        wall = self.groove().pockets[0].area.exterior
        program = self.program()
        places = [np.nan_to_num(place, nan=1e6) for place in (program.start, program.end)]
        ends = [
            shapely.distance(wall, shapely.points(place[:, 0], place[:, 1])) for place in places
        ]
        return np.asarray(ends[0]), np.asarray(ends[1])

    def read(
        self, text: str | None = None, name: str = GROOVE, works: tuple[Work, ...] | None = None
    ) -> ReadBack:
        works = works or tuple(work for work in self.prepared.works if work.setup == "A")
        texts = {**self.texts, name: self.texts[name] if text is None else text}
        return read_files(replace(self.prepared, works=works), texts)


@pytest.fixture(scope="module")
def bench() -> Bench:
    prepared = prepare(Path(__file__).parents[2] / "samples" / "coupon.toml")
    in_a = replace(prepared, works=tuple(work for work in prepared.works if work.setup == "A"))
    return Bench(in_a, {one.name: one.text for one in make_files(in_a)})


def the(result: ReadBack, kind: str, name: str = GROOVE) -> list[Finding]:
    """The findings of a kind in a file."""
    found = [one for one in result.findings if one.kind == kind and one.file == name]
    assert found, [str(one) for one in result.findings]
    return found


def without(text: str, lines: set[int]) -> str:
    """The text without some of its lines, which count from 1."""
    return "\n".join(line for number, line in enumerate(text.split("\n"), 1) if number not in lines)


def test_what_is_planted_in_is_well(bench):
    """Else every fault below would be found in anything."""
    assert bench.read().counts == {}


def test_layer_that_is_not_cut(bench):
    """Its height is that of the layer above: the next one would meet two."""
    high, low, after = bench.layers()[:3]
    found = the(
        bench.read(bench.texts[GROOVE].replace(f"Z{low:.4f}", f"Z{high:.4f}")), "layer-missed"
    )
    assert all(one.line is not None and one.place[2] <= high for one in found)
    assert max(one.depth or 0.0 for one in found) == pytest.approx(high - after, abs=0.02)


def test_laps_left_out_of_one_layer(bench):
    """All that ran nearest to the outer wall in the second layer: it stands until the third meets
    it."""
    z = bench.layers()[1]
    program, (start, end) = bench.program(), bench.off_wall()
    level = (
        (program.kind > 0)
        & (np.abs(program.start[:, 2] - z) < 1e-3)
        & (np.abs(program.end[:, 2] - z) < 1e-3)
    )
    nearest = float(end[level].min())
    lap = level & (start < nearest + 0.05) & (end < nearest + 0.05)
    assert lap.sum() > 3
    found = the(
        bench.read(without(bench.texts[GROOVE], set(program.line[lap].tolist()))), "layer-missed"
    )
    assert any(one.line is not None and abs(one.place[2] - z) < 0.01 for one in found)


def test_step_twice_as_wide_as_the_job_allows(bench):
    """The same text under half the stepover: every lap but the first of a layer is too wide."""
    work = bench.groove()
    narrow = replace(work, cutting=replace(work.cutting, stepover=work.cutting.stepover / 4.0))
    works = tuple(narrow if one.name == "groove" else one for one in bench.prepared.works)
    found = the(bench.read(works=works), "engagement")[0]
    program = bench.program()
    assert found.line in set(program.line[program.kind > 0].tolist())


def test_the_other_direction(bench):
    """A job that wishes conventional milling is not served by climb, nor the other way round."""
    works = tuple(
        replace(one, milling=replace(one.milling, conventional=True))
        if one.name == "groove"
        else one
        for one in bench.prepared.works
    )
    found = the(bench.read(works=works), "direction")[0]
    assert "climb" in found.message and found.line is not None


def _first_ramp(program: ReadProgram, top: float) -> int:
    fall = program.start[:, 2] - program.end[:, 2]
    level = np.hypot(*(program.end - program.start)[:, :2].T)
    return int(
        np.flatnonzero(
            (program.kind > 0) & (fall > 1e-6) & (level > 1.0) & (program.end[:, 2] < top - 0.1)
        )[0]
    )


def test_steeper_ramp(bench):
    """The first ramp goes down four times as fast: a flat cutter is pushed up its collet or
    breaks."""
    program, top = bench.program(), bench.groove().pockets[0].top
    at = _first_ramp(program, top)
    line, low = int(program.line[at]), 4.0 * program.end[at, 2] - 3.0 * program.start[at, 2]
    lines = bench.texts[GROOVE].split("\n")
    assert " Z" in lines[line - 1]
    lines[line - 1] = re.sub(r"Z-?[0-9.]+", f"Z{low:.4f}", lines[line - 1])
    found = the(bench.read("\n".join(lines)), "steep-ramp")[0]
    assert found.line == line
    assert found.place == pytest.approx((*program.end[at, :2], low), abs=1e-3)


def test_plunge_into_solid_wood(bench):
    """Straight down to the first layer before the ramp begins, with a cutter that does not cut to
    its centre."""
    program, top = bench.program(), bench.groove().pockets[0].top
    at = _first_ramp(program, top)
    line = int(program.line[at])
    lines = bench.texts[GROOVE].split("\n")
    lines.insert(line - 1, f"G1 Z{bench.layers()[0]:.4f}")
    found = the(bench.read("\n".join(lines)), "plunge")[0]
    assert found.line == line
    assert 1.0 < found.depth <= top - bench.layers()[0] + 0.01


def _finishing(bench: Bench) -> NDArray[np.bool_]:
    """Motions of the lap along the outer wall at the floor."""
    work = bench.groove()
    program, (start, end) = bench.program(), bench.off_wall()
    radius, floor = work.cutter.radius, work.pockets[0].floor
    at_floor = (
        (program.kind > 0)
        & (program.end[:, 2] < floor + 0.01)
        & (program.start[:, 2] < floor + 0.01)
    )
    return at_floor & (start < radius + 0.01) & (end < radius + 0.01)


def test_finishing_lap_left_out(bench):
    """The wall keeps what clearing left on it; the plug of the casting is then thinner than the
    drawing says."""
    lap = _finishing(bench)
    assert lap.sum() > 3
    program = bench.program()
    found = the(bench.read(without(bench.texts[GROOVE], set(program.line[lap].tolist()))), "width")[
        0
    ]
    assert found.depth > 0.02 and found.place is not None
    wall = bench.groove().pockets[0].area.exterior
    assert wall.distance(shapely.Point(found.place[:2])) < 0.01


def test_corner_cut_off(bench):
    """Half a millimetre inwards at one place of the finishing lap leaves wood there, and nowhere
    else."""
    program, lap = bench.program(), np.flatnonzero(_finishing(bench))
    at = int(lap[len(lap) // 2])
    x, y = program.end[at, :2]
    centre = bench.groove().pockets[0].area.centroid
    away = np.array([centre.x - x, centre.y - y])
    x, y = program.end[at, :2] + 0.5 * away / np.hypot(*away)
    lines = bench.texts[GROOVE].split("\n")
    line = int(program.line[at])
    lines[line - 1] = f"G1 X{x:.4f} Y{y:.4f}"
    found = the(bench.read("\n".join(lines)), "width")
    reach = float(np.hypot(*(program.end[at + 1, :2] - program.start[at, :2]))) + 5.0
    assert any(np.hypot(one.place[0] - x, one.place[1] - y) < reach for one in found)


def test_ring_of_the_plug_left_out(bench):
    """A round pocket without its last ring at one layer."""
    program = bench.program(PLUG)
    pocket = next(work for work in bench.prepared.works if work.name == "plug-pockets").pockets[0]
    x, y = pocket.area.centroid.coords[0]
    out = np.hypot(program.end[:, 0] - x, program.end[:, 1] - y)
    level = (program.kind > 0) & (np.abs(program.end[:, 2] - program.start[:, 2]) < 1e-9)
    level &= program.end[:, 2] < pocket.top  # not the way to the stop where the tip is looked at
    heights = np.unique(
        np.round(program.end[level & (program.end[:, 2] > pocket.floor + 0.5), 2], 3)
    )
    z = float(heights[-1])
    here = level & (np.abs(program.end[:, 2] - z) < 1e-3)
    ring = here & (out > out[here].max() - 0.05)
    text = without(bench.texts[PLUG], set(program.line[ring].tolist()))
    found = the(bench.read(text, PLUG), "layer-missed", PLUG)[0]
    assert pocket.area.contains(shapely.Point(found.place[:2]))
