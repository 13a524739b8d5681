"""The simulation set-up: what the read-back must know of the shop, that is the blank, how it is
flipped, what is touched, the cutters.

Everything else is taken from the files or derived. Lengths in mm; A frame: bed frame of set-up A.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from shapely import Polygon, affinity

from corepath.layup.laid import LaidUp
from corepath.motion.cutter import Cutter
from corepath.readback.words.spoken import Spoken
from corepath.stock.material import BlankFaces

__all__ = ["Allowed", "Pour", "SimulationSetup"]


@dataclass(frozen=True, slots=True)
class Pour:
    """One casting: its footprint in the A frame and how far its cured top lies `below` the raw
    top."""

    area: Polygon
    below: float


@dataclass(frozen=True, slots=True)
class Allowed:
    """How far a measure may be off before it is a finding, mm: at least twice the error budget of a
    path, and well under what a machine holds in wood.

    `removal` is the least lowering that counts as cutting; `heights` is for floors and planes,
    `walls` for widths, `holes` for diameters, `zero` for work zeros; `edge` is how far beside its
    region an operation may touch; `shows` is the skin of wood through which a casting counts as
    visible; `chords` is how far chords may leave their arcs. `ridges` is how far the highest ridge,
    also between the columns, may stand above the one asked for: the rounding of a file's numbers.
    """

    removal: float = 0.01
    heights: float = 0.02
    walls: float = 0.02
    holes: float = 0.05
    edge: float = 0.05
    zero: float = 0.02
    shows: float = 0.005
    chords: float = 0.0005
    ridges: float = 0.001


@dataclass(frozen=True, slots=True)
class SimulationSetup:
    """The blank (`length`, `width`, `thickness`), how it is flipped and zeroed, machine, cutters,
    pour. `touch_at` is in the A frame; where it is None a face is touched at the middle.
    `planned_pass` tells how many skim passes are cut before the inserts. `pour` maps each casting's
    id to its fill. `done` names operations already cut: their files are not read, the blank is
    taken to be as the work asks. `lies` gives lower and upper face of a measured blank. `cell` is
    the largest spacing of the columns. `bores` says where the board has its bores, in the A frame:
    (x, y, diameter) by id; they must be open at the end. It does not come from the operations, so
    that a flip about the wrong axis shows; without it the holes of the operation inserts are taken.
    `seats` are the areas over those bores that the flanges take, by the same ids.
    `laid` is the board as it lies after lay-up, where D has programs. `spin_up` is how many seconds
    the spindle needs to come up to speed. `outline` is the board's edge in the A frame, for what is
    measured of the board alone. `second_zero` is the coordinate system for the zero of the inserts,
    where they have one of their own; `length_offset` tells that lengths of cutters are called by
    G43. `dowels` are the places of the dowels in the A frame.
    """

    length: float
    width: float
    thickness: float
    flip_about: Literal["x", "y"]
    xy_zero: Literal["middle", "front-left"]
    z_zero: Literal["bed", "face"]
    touch_at: tuple[float, float] | None
    spoil_board: float
    travel: tuple[float, float, float]
    cutters: Mapping[int, Cutter]
    pour: Mapping[str, Pour]
    planned_pass: int
    cell: float = 0.5
    bores: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    seats: Mapping[str, Polygon] = field(default_factory=dict)
    allowed: Allowed = field(default_factory=Allowed)
    lies: BlankFaces | None = None
    done: frozenset[str] = frozenset()
    laid: LaidUp | None = None
    spin_up: float = 0.0
    outline: Polygon | None = None
    second_zero: Literal["none", "G55"] = "none"
    spoken: Spoken | None = None
    exact_path: bool = False
    length_offset: bool = False
    dowels: tuple[tuple[float, float], ...] = ()

    def deepest(self, setup: str) -> float:
        """Return the lowest Z in a set-up's frame at which the spoil board still protects what lies
        under it."""
        bed = self.laid.bed if setup == "D" and self.laid is not None else 0.0
        return bed - self.spoil_board

    def mirrored_area(self, area: Polygon, setup: str) -> Polygon:
        """Return an area of the A frame as it lies in a set-up."""
        if setup != "B":
            return area
        across = (1.0, -1.0) if self.flip_about == "x" else (-1.0, 1.0)
        return affinity.scale(area, *across, origin=(0.0, 0.0))

    def mirrored(self, x: float, y: float) -> tuple[float, float]:
        """Return a place of the A frame in that of B, or the other way round."""
        return (x, -y) if self.flip_about == "x" else (-x, y)

    def touch(self, setup: str) -> tuple[float, float]:
        """Return the place (x, y) at which a face is touched in a set-up."""
        x, y = self.touch_at or (0.0, 0.0)
        return self.mirrored(x, y) if setup == "B" else (x, y)
