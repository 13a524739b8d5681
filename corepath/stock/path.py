"""A program placed on the bed: its motions shifted by the zero, and as straight pieces.

Bed frame of the set-up, mm. A motion from or to a place that the program never gave is left out
here and reported as a finding. Curved motions become chords within the tolerance given
(`Allowed.chords`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.arcs import flatten
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.read_program import ReadProgram
from corepath.lengths import mm
from corepath.motion.cutter import Cutter

__all__ = ["Path", "Pieces", "judge_unknown", "laid", "lay"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Pieces:
    """Straight pieces: from `lower` to `upper` (m, 3), in the order cut, and `owner` (m,), the
    index of the motion that each belongs to.

    The names do not tell which end is higher: `low` and `high` do.
    """

    lower: Floats
    upper: Floats
    owner: Ints

    def pick(self, which: NDArray[np.bool_]) -> Pieces:
        """Return the pieces that the mask `which` (n,) takes."""
        return Pieces(self.lower[which], self.upper[which], self.owner[which])

    def at(self, which: Ints) -> Pieces:
        """Return the pieces of these indices (k,), in their order."""
        return Pieces(self.lower[which], self.upper[which], self.owner[which])

    def below(self, level: float) -> Pieces:
        """Return the parts of the pieces that lie at or below a height, mm.

        Of a plunge from above it the part below is kept.
        """
        some = self.pick(self.low <= level)
        lower, upper = some.lower.copy(), some.upper.copy()
        rise = upper[:, 2] - lower[:, 2]
        # Move each end that lies above the level along its piece down to it. No piece has both ends
        # above, so the rise of these is never 0.
        for near, far, sign in ((lower, some.upper, -1.0), (upper, some.lower, 1.0)):
            over = near[:, 2] > level
            share = (near[over, 2] - level) / (sign * rise[over])
            near[over] += (far[over] - near[over]) * share[:, None]
        return Pieces(lower, upper, some.owner)

    @property
    def high(self) -> Floats:
        """Height of the higher end of each piece, (m,)."""
        return np.asarray(np.maximum(self.lower[:, 2], self.upper[:, 2]), dtype=np.float64)

    @property
    def low(self) -> Floats:
        """Height of the lower end of each piece, (m,)."""
        return np.asarray(np.minimum(self.lower[:, 2], self.upper[:, 2]), dtype=np.float64)

    @property
    def middle(self) -> Floats:
        return np.asarray((self.lower + self.upper) / 2.0, dtype=np.float64)

    def __len__(self) -> int:
        return len(self.owner)


@dataclass(frozen=True, slots=True)
class Path:
    """One program on the bed: motions (n,) in the order cut, bed frame, mm.

    `kind` is 0 for a rapid, 1 for a line, 2 and 3 for arcs clockwise and counter-clockwise;
    `start`, `end` (n, 3), `centre` (n, 2); `line` is the line of the text; `spindle` tells where it
    turns; `index` is each motion's place in the program as read; `pieces` are all motions in
    chords.
    """

    program: ReadProgram
    cutter: Cutter
    kind: NDArray[np.int8]
    start: Floats
    end: Floats
    centre: Floats
    line: Ints
    spindle: NDArray[np.bool_]
    index: Ints
    pieces: Pieces

    def part(self, first: int, last: int) -> Path:
        """Return motions `first` to `last` (not included) alone, with their pieces."""
        some = slice(first, last)
        low, high = np.searchsorted(self.pieces.owner, (first, last))
        pieces = Pieces(
            self.pieces.lower[low:high],
            self.pieces.upper[low:high],
            self.pieces.owner[low:high] - first,
        )
        return replace(
            self, kind=self.kind[some], start=self.start[some], end=self.end[some],
            centre=self.centre[some],
            line=self.line[some], spindle=self.spindle[some], index=self.index[some], pieces=pieces,
        )  # fmt: skip

    def line_near(self, x: float, y: float) -> int | None:
        """Return the line of the motion that goes lowest with the cutter over (x, y), or None."""
        pieces = self.pieces
        if not len(pieces):
            return None
        a, d = pieces.lower[:, :2], pieces.upper[:, :2] - pieces.lower[:, :2]
        # mm²: an upright piece has no length to divide by.
        squared = np.maximum((d * d).sum(axis=1), 1e-18)
        share = np.clip((((x, y) - a) * d).sum(axis=1) / squared, 0.0, 1.0)
        away = np.hypot(*(a + d * share[:, None] - (x, y)).T)
        # 1e-6 mm: a rim that just touches the place is over it.
        over = np.flatnonzero(away <= self.cutter.radius + 1e-6)
        if not len(over):
            return None
        # The height at that place, not at the piece's lower end, which on a slope may lie far off.
        height = pieces.lower[over, 2] + share[over] * (
            pieces.upper[over, 2] - pieces.lower[over, 2]
        )
        return int(self.line[pieces.owner[over[np.argmin(height)]]])


def lay(
    program: ReadProgram, zero: tuple[float, float, float], cutter: Cutter, highest: float,
    tolerance: float,
    findings: Findings,
) -> Path:  # fmt: skip
    """Place a program on the bed and divide its arcs into chords.

    `zero` is the work zero in the bed frame, `highest` the height of the highest stock, against
    which moves from unknown places are judged; `tolerance` (mm) is that of the chords. What is
    wrong goes to `findings`. Raises InputError where the chords would be too many (`flatten`).
    """
    judge_unknown(program, zero, highest, findings)
    return laid(program, zero, cutter, tolerance)


def laid(
    program: ReadProgram, zero: tuple[float, float, float], cutter: Cutter, tolerance: float
) -> Path:
    """Do the same, whatever the stock, and judge nothing."""
    start, end, known = _placed(program, zero)
    centre = program.centre + zero[:2]
    kind = program.kind[known]
    start, end = np.ascontiguousarray(start[known]), np.ascontiguousarray(end[known])
    centre = np.nan_to_num(centre[known])
    pieces = Pieces(*flatten(kind, start, end, centre, tolerance))
    return Path(
        program,
        cutter,
        kind,
        start,
        end,
        centre,
        program.line[known],
        program.spindle_on[known],
        np.flatnonzero(known),
        pieces,
    )


def _placed(
    program: ReadProgram, zero: tuple[float, float, float]
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return where the motions start and end in the bed frame, (n, 3), and which of them from and
    to places that are known, (n,)."""
    start, end = program.start + zero, program.end + zero
    known = ~(np.isnan(start).any(axis=1) | np.isnan(end).any(axis=1))
    return start, end, np.asarray(known, dtype=np.bool_)


def judge_unknown(
    program: ReadProgram, zero: tuple[float, float, float], highest: float, findings: Findings
) -> None:
    """Report motions from or to unknown places that are not harmless: harmless is only a motion
    above the stock, `highest` mm, at rapid or with the spindle stopped."""
    start, end, known = _placed(program, zero)
    for index in np.flatnonzero(~known):
        line = int(program.line[index])
        height = end[index, 2]
        sideways = not np.array_equal(start[index, :2], end[index, :2], equal_nan=True)
        if program.kind[index] > 0 and (program.spindle_on[index] or not height > highest):
            findings.add(
                "start-unknown", "it cuts before X, Y and Z have all been given", line=line
            )
        elif np.isnan(height) and sideways:
            findings.add("start-unknown", "a way sideways before Z has been given", line=line)
        elif height <= highest:
            says = (
                f"a rapid to {mm(height):.3f} from an unknown place; the stock stands "
                f"{mm(highest):.3f} high"
            )
            findings.add("rapid-through-material", says, line=line, depth=float(highest - height))
