"""How hard the cutter works along the motions read: width, depth and side of the cut at samples.

Width of cut (radial depth of cut): the part of the cutter's front that stands in material,
projected across the path (mm; the diameter in a slot). Axial depth of cut: how far that material
stands above the tip. With the spindle turning clockwise seen from above (M3), material to the right
of the path is climb milling, to the left conventional milling. The engagement angle of a width a is
acos(1 - 2a/D), 180 degrees in a slot (elementary geometry, no source needed).

Entries and the first laps after them are found in `entry_slots`. Bed frame, mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.arcs import flatten
from corepath.stock.engagement_kernels import engage
from corepath.stock.entry_slots import Samples, WayIn, find_entries, first_laps
from corepath.stock.material import Grid, Singles
from corepath.stock.path import Path, Pieces

__all__ = ["CUTTING", "Engagement", "engagement"]

CUTTING = 0.06
"""mm: the edge counts as cutting from this width on; less is where two laps meet."""

# mm: error of the chords of arcs. `engagement_kernels._NEAR` is twice this and goes with it.
_CHORDS = 0.01
# mm above the tip from which on material counts.
_LEAST = 0.02
# mm: a piece that falls less is level; the text has three or four decimals.
_FALL = 1e-6
# Times length and width of the blank together. A longer piece comes from a wild coordinate; sampled
# every half radius it would fill the memory.
_ENDLESS = 4.0
# mm: a slot no deeper than this is no slot that only a first lap may cut.
_SHALLOW = 0.05

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Engagement:
    """Samples along one file, in the order cut; arrays (k,), lengths in mm.

    `piece` is the index of each sample in `pieces` (all feeds and rapids, chords within 0.01 mm);
    `way` the length of path that a sample represents; `right` and `left` the width of cut on either
    side; `depth` the greatest axial depth of cut; `deep` the width of what stands higher than a
    layer; `under` how high material stands above the tip within half the radius of the axis (0
    except on the way down); `place` (k, 3), bed frame; `entering` tells whether the sample lies in
    an entry or the lap after it. `entries` are the ways down.
    """

    pieces: Pieces
    piece: NDArray[np.int64]
    way: Floats
    right: Floats
    left: Floats
    depth: Floats
    deep: Floats
    under: Floats
    place: Floats
    entering: Flags
    entries: tuple[WayIn, ...]

    @property
    def width(self) -> Floats:
        """Return the width of cut on both sides together, mm, (samples,)."""
        return np.asarray(self.right + self.left, dtype=np.float64)

    @property
    def cuts(self) -> Flags:
        """Tell which samples (n,) cut at all."""
        return np.asarray(self.width > CUTTING, dtype=np.bool_)

    @property
    def level(self) -> Flags:
        """Tell which samples (n,) lie on level pieces."""
        rise = (self.pieces.upper - self.pieces.lower)[self.piece, 2]
        return np.asarray(np.abs(rise) < _FALL, dtype=np.bool_)

    def line(self, path: Path, sample: int) -> int:
        """Return the line of the text that a sample belongs to."""
        return int(path.line[self.pieces.owner[self.piece[sample]]])


def engagement(path: Path, before: Singles, grid: Grid, wide: float, layer: float) -> Engagement:
    """Find the engagement along a path; the underside of the cutter counts as level.

    `before` [iy, ix] is the height map before the file, on `grid`. `wide` (mm) is the width from
    which on only an entry and its first lap may cut, `layer` (mm) the axial depth from which on a
    cut counts as `deep`.
    """
    pieces = Pieces(*flatten(path.kind, path.start, path.end, path.centre, _CHORDS))
    cuts = (path.kind[pieces.owner] > 0) & (pieces.low < float(before.max()) - _LEAST)
    long = np.hypot(*(pieces.upper - pieces.lower)[:, :2].T)
    cuts &= long < _ENDLESS * (grid.px * grid.nx + grid.py * grid.ny)
    step = path.cutter.radius / 2.0
    down = cuts & (pieces.upper[:, 2] < pieces.lower[:, 2] - _FALL)
    first = _rows(cuts, down, long, step)
    found = np.zeros((int(first[-1]), 6))
    frame = np.array([grid.x0, grid.y0, grid.px, grid.py])
    # A copy: the kernel sets the end of each piece back and forth while it samples it.
    lower, upper = np.ascontiguousarray(pieces.lower), pieces.upper.copy()
    engage(lower, upper, cuts, before, frame, path.cutter.radius, _LEAST, layer, first, found)
    piece = np.repeat(np.arange(len(cuts)), np.diff(first))
    share = found[:, 4]
    place = pieces.lower[piece] + share[:, None] * (pieces.upper - pieces.lower)[piece]
    travelled = np.cumsum(np.where(cuts, long, 0.0))[piece] - (1.0 - share) * long[piece]
    way = np.diff(travelled, prepend=0.0)
    met = np.zeros(len(cuts), dtype=np.bool_)
    met[piece[found[:, 2:4].max(axis=1) > _LEAST]] = True
    entries = find_entries(down, met)
    slot = np.asarray((found[:, 0] + found[:, 1] > wide) & (found[:, 2] > _SHALLOW), dtype=np.bool_)
    entering = first_laps(pieces, Samples(piece, place, way), slot, entries, path.cutter.radius)
    return Engagement(
        pieces, piece, way, found[:, 0], found[:, 1], found[:, 2], found[:, 5],
        found[:, 3], place, entering, entries,
    )  # fmt: skip


def _rows(cuts: Flags, down: Flags, long: Floats, step: float) -> NDArray[np.int64]:
    """Return the first row of each piece's samples, (m + 1,): one sample a `step` of path, and one
    where a way down ends."""
    # Counted along the whole path and not a piece at a time: an arc of many short chords gets as
    # many samples as a line of its length.
    travelled = np.concatenate(([0.0], np.cumsum(np.where(cuts, long, 0.0))))
    count = np.diff(np.floor(travelled / step)).astype(np.int64)
    # The deepest place of a way down is its end, and a plunge has no length in the plane at all.
    ends = down & ~np.append(down[1:], False)
    count = np.maximum(count, (ends | (down & (long < 1e-9))).astype(np.int64))
    return np.concatenate(([0], np.cumsum(np.where(cuts, count, 0))))
