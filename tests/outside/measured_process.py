"""A blank that somebody measured, in the physical process: its true shape, the figures read, the
core made of it.

The wood has a thickness and a gap under it that run over the blank as a plane, wedge, cup or twist;
a gauge reads them at some places. The plan is made from the readings alone; the process is played
with the wood. Turned over, the blank bears with its raw top on the bed. As held it lies within
`tolerances.flat` of it: that is the job's word of the blank and its holding, true of every wood
that is out of plane by no more. Other wood breaks the word; where enough places tell its shape it
stands off by anything between nothing (pressed flat) and what a rigid blank would in the worst of
its rests, and by `tolerances.flat` besides. A rigid blank rests on three of its highest places with
the middle between them; a twisted one rocks from one such triangle to another. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from corepath.board.features import Board
from corepath.job.measured import Measured
from corepath.job.model import Job
from corepath.stackup import build_stackup
from corepath.stackup.measuring.blank import Blank
from corepath.stackup.stackup import Stackup
from tests.outside.process import Process, Site

__all__ = ["PLACES", "SHAPES", "MeasuredProcess", "Wood", "measured_blank", "wood_of"]

Floats = NDArray[np.float64]
GAUGE = 0.02
"""mm: figures are even within ± this."""
SEES = 9
"""Places that tell a bend. Where fewer were measured the job's word stands, as of a blank that
nobody measured."""
SHAPES = ("plane", "wedge", "cup", "hollow", "twist")
PLACES: dict[str, tuple[tuple[float, float], ...]] = {
    "three": ((-0.93, -0.85), (0.93, -0.85), (0.0, 0.85)),
    "nine": tuple((x, y) for x in (-0.95, 0.0, 0.95) for y in (-0.9, 0.0, 0.9)),
    "fifteen": tuple((x, y) for x in (-0.95, -0.48, 0.0, 0.48, 0.95) for y in (-0.9, 0.0, 0.9)),
}
"""Shares of half the length and half the width."""


@dataclass(frozen=True)
class Wood:
    """Thickness and gap in A of a true blank over places, and how far its raw top, face down, may
    stand off a table."""

    thickness: Callable[[Floats, Floats], Floats]
    gap: Callable[[Floats, Floats], Floats]
    off: Callable[[Floats, Floats], Floats]


def wood_of(job: Job, shape: str, rng: np.random.Generator, gap_most: float) -> Wood:
    """One blank of a shape: bent up to 0.3 in its thickness and up to `gap_most` in how it lies.

    Where the job gives a tolerance of the thickness the blank keeps to it.
    """
    half_length, half_width, nominal = (
        job.blank.length / 2,
        job.blank.width / 2,
        job.blank.thickness,
    )
    level = rng.uniform(-0.1, 0.1)
    along, across = rng.uniform(-0.1, 0.1, 2) if shape != "plane" else (0.0, 0.0)
    bend, lies = rng.uniform(-0.3, 0.3), rng.uniform(0.0, gap_most)
    bent = shape in ("cup", "hollow", "twist")

    def form(x: Floats, y: Floats) -> Floats:
        u, v = x / half_length, y / half_width
        return {"cup": v * v, "hollow": 1.0 - v * v, "twist": (1.0 + u * v) / 2.0}.get(
            shape, 0.0 * x
        )

    def other(x: Floats, y: Floats) -> Floats:
        return (
            level
            + along * x / half_length
            + across * y / half_width
            + bend * (form(x, y) - 0.5 * bent)
        )

    most = float(np.abs(other(*lattice(job))).max())
    tolerance = job.blank.tolerance
    share = 1.0 if tolerance is None else min(1.0, tolerance / most)

    def thickness(x: Floats, y: Floats) -> Floats:
        return nominal + share * other(x, y)

    def gap(x: Floats, y: Floats) -> Floats:
        return lies * form(x, y)

    return Wood(thickness, gap, _off_a_table(job, lambda x, y: thickness(x, y) + gap(x, y)))


def lattice(job: Job) -> tuple[Floats, Floats]:
    """Places all over the blank, its edges and its middle lines among them."""
    lines = (
        np.linspace(-0.5, 0.5, 41) * job.blank.length,
        np.linspace(-0.5, 0.5, 41) * job.blank.width,
    )
    x, y = np.meshgrid(*lines)
    return x.ravel(), y.ravel()


def rests_of(x: Floats, y: Floats, top: Floats) -> list[tuple[float, float, float]]:
    """Level and slopes of the planes that a rigid blank may lie on, raw top down: faces of its
    convex hull that the middle is over, an edge being of both faces. One place far below closes the
    hull, also of a raw top that is level.
    """
    size = float(np.abs(x).max()), float(np.abs(y).max())
    places = np.column_stack([np.append(x / size[0], 0.0), np.append(y / size[1], 0.0)])
    hull = ConvexHull(np.column_stack([places, np.append(top, top.min() - 10.0)]))
    planes = []
    for (along, across, up, off), corners in zip(hull.equations, hull.simplices, strict=True):
        first, second, third = places[corners]
        turns = [
            one[0] * other[1] - one[1] * other[0]
            for one, other in ((first, second), (second, third), (third, first))
        ]
        if up > 1e-9 and (min(turns) >= -1e-9 or max(turns) <= 1e-9):
            planes.append((-off / up, -along / up / size[0], -across / up / size[1]))
    return planes


def _off_a_table(
    job: Job, top: Callable[[Floats, Floats], Floats]
) -> Callable[[Floats, Floats], Floats]:
    """How far a rigid blank that lies on its raw top may stand off, the most of all its rests."""
    x, y = lattice(job)
    planes = rests_of(x, y, top(x, y))

    def off(px: Floats, py: Floats) -> Floats:
        each = np.array([level + along * px + across * py for level, along, across in planes])
        return np.maximum(each.max(axis=0) - top(px, py), 0.0)

    return off


def measured_blank(
    job: Job, wood: Wood, places: str, heights: bool, rng: np.random.Generator
) -> Blank:
    """The blank by the figures that are read off the wood: thickness, and with `heights` how high
    it stands in A."""
    x, y = (np.array(PLACES[places]) * (job.blank.length / 2, job.blank.width / 2)).T
    thickness = wood.thickness(x, y)
    standing = thickness + wood.gap(x, y) if heights else np.full(len(x), np.nan)
    read = (figures + rng.uniform(-GAUGE, GAUGE, len(x)) for figures in (thickness, standing))
    return Blank.from_measured(job, Measured(x, y, *read))


class MeasuredProcess(Process):
    """One core made of one true blank; thickness, and the gap in A where `heights` told it, are no
    errors any more."""

    def __init__(
        self, job: Job, board: Board, stack: Stackup, site: Site, wood: Wood, heights: bool
    ) -> None:
        x, y = site.at.T
        seen = heights and len(stack.heights.blank.top_map.x) >= SEES
        breaks = seen and float(wood.off(*lattice(job)).max()) > job.tolerances.flat
        # what was planed in A is a plane, and bears in B
        breaks = breaks and job.cast.flush != "face"
        self._off, self._told = wood.off(x, y) if breaks else np.zeros(len(x)), heights
        super().__init__(job, board, stack, site)
        self.came = wood.thickness(x, y)
        self.hollow = wood.gap(x, y) if heights else np.zeros(len(x))
        self.faces = stack.heights.face_height, stack.heights.face_height_below

    def _size(self, name: str) -> float:
        if name.startswith("thickness") or (self._told and name.startswith("gap A")):
            return 0.0
        if name.startswith("gap B"):
            return self.job.tolerances.flat + float(self._off[int(name.split("@")[1])])
        return super()._size(name)


def made(job: Job, board: Board, site: Site, wood: Wood, places: str, heights: bool,
         rng: np.random.Generator) -> tuple[Stackup, MeasuredProcess]:  # fmt: skip
    """The plan from what is read, and the process with what is there."""
    stack = build_stackup(job, board, measured_blank(job, wood, places, heights, rng))
    return stack, MeasuredProcess(job, board, stack, site, wood, heights)
