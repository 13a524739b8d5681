"""The contents of the preview as plain arrays, independent of works and read-back. Lengths in mm,
times in s."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from corepath.motion.cutter import Cutter

__all__ = [
    "DWELL",
    "RAPID",
    "SPINDLE",
    "STOP",
    "Cuts",
    "Faces",
    "Lattice",
    "Motions",
    "PlayedBlank",
    "PlayedFile",
    "Shape",
]

RAPID, DWELL, STOP, SPINDLE = 1, 2, 4, 8
"""Flags of a piece: at rapid; a wait that the file asks for; a stop for a person; the spindle
turns."""

Floats = NDArray[np.float64]
Heights = NDArray[np.floating]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Lattice:
    """The places of columns: the first at (x0, y0), px and py apart, ny rows of nx; mm."""

    x0: float
    y0: float
    px: float
    py: float
    nx: int
    ny: int


@dataclass(frozen=True, slots=True)
class Faces:
    """Lower and upper face of the wood and of the casting in each column, (ny, nx), mm; NaN where
    there is none."""

    wood: tuple[Heights, Heights]
    casting: tuple[Heights, Heights]


@dataclass(frozen=True, slots=True)
class PlayedBlank:
    """The blank at one moment, as it lies on the bed."""

    lattice: Lattice
    faces: Faces


@dataclass(frozen=True, slots=True)
class Motions:
    """One file as straight pieces; row 0 is where the cutter stands at first.

    `points` (m, 3) are ends in the file's own coordinates, `line` (m,) lines of its text from 1,
    `flags` (m,) of RAPID, DWELL, STOP and SPINDLE, `feed` (m,) mm/min (0 at rapid), `time` (m,)
    seconds from the start to the end of the piece.
    """

    points: Floats
    line: Ints
    flags: Ints
    feed: Floats
    time: Floats


@dataclass(frozen=True, slots=True)
class Cuts:
    """The blank while a file runs: stage i ends with the piece `rows[i]`, (k,), and lowers
    `counts[i]` columns.

    `columns` (n,) are those of all stages one after another, as places in the flat lattice, and
    `tops` (n,) their height after the stage, mm, NaN where nothing is left.
    """

    rows: Ints
    counts: Ints
    columns: NDArray[np.integer]
    tops: Heights

    @staticmethod
    def none() -> Cuts:
        """Return the cuts of a file of which no stage is known."""
        empty = np.empty(0, dtype=np.int64)
        return Cuts(empty, empty, empty, np.empty(0, dtype=np.float32))


@dataclass(frozen=True, slots=True)
class Shape:
    """A closed line in plan, bed frame, (k, 2), and its kind: `outline`, `obstacle`, or `casting`,
    whose lines together bound the castings by the even-odd rule."""

    kind: str
    points: Floats


@dataclass(frozen=True, slots=True)
class PlayedFile:
    """One file as it is played: its text and motions, cutter, zero on the bed, the blank before and
    after, shapes around it, and what each stage of it cuts.

    `left` are rows of what the read-back measured of it: what, how much, in words.
    """

    file: str
    setup: str
    name: str
    face_up: str
    text: str
    cutter: Cutter
    zero: tuple[float, float, float]
    motions: Motions
    before: PlayedBlank
    after: PlayedBlank
    shapes: Sequence[Shape]
    left: Sequence[tuple[str, str, str]]
    cuts: Cuts = field(default_factory=Cuts.none)

    @property
    def short(self) -> str:
        """The file's name without what the set-up says: `03 groove`."""
        number, _, rest = self.file.removesuffix(".nc").partition("-")
        return f"{number} {rest.partition('-')[2].replace('-', ' ')}"
