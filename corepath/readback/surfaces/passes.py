"""The file of all skim passes, which planes to one plane after another: each pass is checked when
it ends, and so are the stops between them.

A pass after which someone looks at the blank ends at the stop after it, every other one where the
path goes on to the next plane. Each must leave its plane, since the shop may end the skim there.
Bed frame of the set-up, mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings
from corepath.lengths import mm
from corepath.readback.cutting import cut_path
from corepath.stock.material import Cut, Stock
from corepath.stock.path import Path

__all__ = ["After", "Passes"]

_NEAR = 1.0  # mm above the highest plane from which on a feed belongs to the cutting

After = Callable[[float, Path, Stock], None]
"""Called after a pass with its plane, the path so far, and the blank as it is then."""


@dataclass(frozen=True, slots=True)
class Passes:
    """The passes that a file is to cut: `planes` (mm) from the highest down, a stop after each but
    the last from index `first_stop` on, and layers of at most `layer` (mm) within each pass."""

    planes: tuple[float, ...]
    first_stop: int
    layer: float

    def ends(self, path: Path) -> list[int]:
        """Return one past the last motion of each pass."""
        planes = self.planes
        stops = self._stops(path)
        by_stops = len(stops) == len(planes) - 1 - self.first_stop
        ends: list[int] = []
        for number, (plane, after) in enumerate(pairwise(planes)):
            first = ends[-1] if ends else 0
            if by_stops and number >= self.first_stop:
                ends.append(max(stops[number - self.first_stop], first))
                continue
            # Half way down to the next plane, or half a layer: a pass that was planed a little too
            # low is still that pass, and the first layer towards the next plane is not.
            lower = path.end[first:, 2] < plane - min(plane - after, self.layer) / 2.0
            ends.append(_first((path.kind[first:] > 0) & lower, first))
        return [*ends, len(path.kind)]

    def cut(self, stock: Stock, path: Path, after: After) -> Cut:
        """Cut a path pass by pass, and call `after` after each but the last; return the cut of the
        whole path."""
        cuts: list[Cut] = []
        ends = self.ends(path)
        for number, (first, end) in enumerate(pairwise([0, *ends])):
            cuts.append(cut_path(stock, path.part(first, end)))
            if number < len(self.planes) - 1:
                after(self.planes[number], path.part(0, end), stock)
        stock.take_as_one(len(cuts))
        return _joined(cuts, [0, *(int(np.searchsorted(path.pieces.owner, end)) for end in ends)])

    def check_stops(self, path: Path, findings: Findings) -> None:
        """Check that the program stops after each pass that may be the last, so that the shop can
        look for the casting."""
        wanted = len(self.planes) - 1 - self.first_stop
        stops, ends = self._stops(path), self.ends(path)
        if len(stops) >= wanted:
            return
        for number in range(self.first_stop, len(self.planes) - 1):
            first, end = ends[number - 1] if number else 0, ends[number]
            if not any(first < stop <= end for stop in stops):
                says = (
                    f"no M0 between the pass at {mm(self.planes[number]):.3f} and the one at "
                    f"{mm(self.planes[number + 1]):.3f}: nobody can look for the casting"
                )
                line = (
                    int(path.line[min(end, len(path.line) - 1)])
                    if len(path.line)
                    else path.program.lines
                )
                findings.add("missing-stop", says, line=line)
        if "missing-stop" not in findings.counts:
            says = f"{len(stops)} stops to look for the casting, {wanted} are planned"
            findings.add("missing-stop", says, line=path.program.lines)

    def _stops(self, path: Path) -> list[int]:
        """Return the motions that follow a stop once the cutting has begun: earlier stops are for
        the cutter and the zero."""
        begun = _first((path.kind > 0) & (path.end[:, 2] < self.planes[0] + _NEAR), 0)
        places = [
            int(np.searchsorted(path.index, e.index))
            for e in path.program.events
            if e.name == "stop"
        ]
        return [place for place in places if begun < place < len(path.kind)]


def _first(which: NDArray[np.bool_], first: int) -> int:
    """Return the first motion for which it holds, counted from `first`; one past the last where it
    holds for no motion."""
    found = np.flatnonzero(which)
    return first + int(found[0] if len(found) else len(which))


def _joined(cuts: Sequence[Cut], first: Sequence[int]) -> Cut:
    """Join the cuts of the parts of one path; `first` is the first piece of each part."""
    return Cut(
        np.concatenate([cut.removed for cut in cuts]),
        np.concatenate([cut.where for cut in cuts]),
        np.concatenate([cut.deep for cut in cuts]),
        np.concatenate([cut.volume for cut in cuts]),
        np.concatenate([cut.of + before for cut, before in zip(cuts, first[:-1], strict=True)]),
        np.concatenate([cut.way for cut in cuts]),
    )
