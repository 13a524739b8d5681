"""Cutters: shapes as solids of revolution about the spindle axis, tip at the origin, lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from corepath.lengths import mm

__all__ = ["Cutter", "Cutting", "Origin"]

Shape = Literal["flat", "ball", "bull", "drill"]
Helix = Literal["up", "down", "straight"]
Material = Literal["carbide", "high-speed steel"]


@dataclass(frozen=True, slots=True)
class Cutter:
    """One cutter of the job. A ball has `corner_radius` = D/2, a flat one or a drill 0.

    A drill is taken as flat at its tip: depths are those of its full diameter. `helix` tells which way the
    flutes move chips; `ramp_angle` (degrees) is the steepest way into solid wood; a `centre_cutting` one may plunge.
    `shank` is the diameter above the edges; 0 means that of the edges. `listed` is the diameter that the job lists,
    where `diameter` is the true one that was measured; 0 means the same.
    """

    number: int
    shape: Shape
    diameter: float
    corner_radius: float
    flutes: int
    cutting_length: float
    stick_out: float
    helix: Helix = "up"
    centre_cutting: bool = False
    ramp_angle: float = 3.0
    material: Material = "carbide"
    shank: float = 0.0
    listed: float = 0.0

    @property
    def measured(self) -> bool:
        """Whether its diameter is a measured one, other than the job lists."""
        return self.listed > 0.0

    @property
    def radius(self) -> float:
        return self.diameter / 2.0

    def rise(self, distance: float) -> float:
        """Height of the cutting surface above the tip at `distance` (mm) from the axis; inf outside."""
        if distance > self.radius:
            return math.inf
        flat = self.radius - self.corner_radius
        if distance <= flat:
            return 0.0
        return self.corner_radius - math.sqrt(max(self.corner_radius**2 - (distance - flat) ** 2, 0.0))

    def describe(self) -> str:
        corner = f" corner R{mm(self.corner_radius):g}" if self.shape == "bull" else ""
        listed = f" (listed as {mm(self.listed):g})" if self.measured else ""
        return f"T{self.number} {self.shape} D{mm(self.diameter):g}{corner}{listed}"


class Origin(NamedTuple):
    """Where the figures of a `Cutting` come from, in words: `job`, or a table with the mark of its source."""

    chip_load: str = "job"
    rpm: str = "job"
    feed: str = "chip load"


@dataclass(frozen=True, slots=True)
class Cutting:
    """How a cutter is run: rpm, feeds in mm/min, depths in mm.

    `feed` sideways, right for a full-width cut; `ramp` along a ramp or helix, `plunge` straight down; `depth` of one
    layer; `stepover` largest distance between neighbouring lines of a clearing path. `finish` is the feed of a light
    lap: a finishing lap along a wall, or the lines of the finished deck beside one another; 0 means as `feed`.
    The chip load is feed / (flutes · rpm).
    """

    rpm: float
    feed: float
    ramp: float
    plunge: float
    depth: float
    stepover: float
    finish: float = 0.0
    origin: Origin = field(default_factory=Origin)

    def __post_init__(self) -> None:
        if self.finish <= 0.0:
            object.__setattr__(self, "finish", self.feed)

    @property
    def fastest(self) -> float:
        """The largest feed of all, mm/min."""
        return max(self.feed, self.ramp, self.plunge, self.finish)
