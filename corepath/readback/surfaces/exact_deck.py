"""The exact proof of the deck: heights at 200,000 random points and along fine sections, solved
against the motions read.

Columns on a grid can miss a ridge (scallop) that stands between them. Here each point is solved
exactly against all pieces of path near it (lines, ramps, arcs as chords within `Allowed.chords`),
whatever file and cutter they belong to, and compared with h(x, y) of the deck's surface itself. The
seed is fixed: the same files give the same figures. Frame: bed frame of C, which is the board's;
all lengths mm.

Sections are lines along X and Y at random places, with a point every fortieth of the distance at
which the passes really cross them. From the worst points of all, a search goes on to the worst
places between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from corepath.board.deck.surface import DeckSurface
from corepath.gcode.read.findings import Findings
from corepath.lengths import mm
from corepath.readback.inspection import Inspection
from corepath.readback.simulation_setup import Allowed
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.contact_kernels import underside_of
from corepath.stock.exact_kernels import sweep_points
from corepath.stock.path import Path
from corepath.work.works import Deck

__all__ = ["POINTS", "Swept", "Worst", "celled", "check_rim", "prove_deck", "sections"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

POINTS = 200_000

_SEED = 20
# Places at which a section is laid along X and one along Y.
_PLACES = 60
# Points of a section for each distance s of two passes. The crest lies at most s/80 from one. Two
# passes of a ball meet there at a slope of s/2r, so the point is lower by at most s²/160r: a
# twentieth of the ridge s²/8r.
_A_STEP = 40
# Distances of passes that a section crosses.
_STEPS_SHOWN = 6
# Starts of the search on each side, and the square (mm) of which only the worst point starts one:
# one bad place must not take all of them.
_WALKERS = 150
_WALKERS_APART = 8.0
# Steps of one size at most, then the size is halved; mm.
_MOVES = 3
_LARGEST_MOVE = 0.5
_LEAST_MOVE = 5e-4
_BELOW = (-1.0, -0.5, -0.2, 0.0)
_ABOVE = (0.04, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.6, 2.0)
"""Edges of the histogram, as shares of the deepest cut and of the highest ridge that are
allowed."""
# mm: with a limit of 0 the edges of the histogram would coincide.
_LEAST = 0.001
# Findings of one kind that are reported place by place; the others are counted.
_TOLD = 20
_RIM = 1.0
# mm: crossings of a section no farther apart are one pass, cut twice or by two pieces that meet.
_LEAST_APART = 0.02


class Swept:
    """All paths over the deck as read; `left` gives the height that they leave, and which motion
    left it.

    `finish` are the paths that finish the deck, `rough` those before them. `top` is the height of a
    point that nothing passes; pieces above it are left out.
    """

    def __init__(self, finish: Sequence[Path], top: float, rough: Sequence[Path] = ()) -> None:
        self.finish = tuple(finish)
        self.paths = (*finish, *rough)
        self.top = top
        self.pieces = tuple(path.pieces.pick(path.pieces.low < top) for path in self.paths)

    def left(self, x: Floats, y: Floats) -> tuple[Floats, Ints, Ints]:
        """Return the height left (n,) at points (n,), `top` where nothing passes; the index of the
        path that left it (n,) and of its motion (n,), -1 for none."""
        order, first, frame = celled(x, y)
        ever = np.full(len(x), np.iinfo(np.int64).max)
        px, py = np.ascontiguousarray(x[order]), np.ascontiguousarray(y[order])
        left = np.full(len(px), self.top)
        motion, which = np.full(len(px), -1, dtype=np.int64), np.full(len(px), -1, dtype=np.int64)
        for k, (path, pieces) in enumerate(zip(self.paths, self.pieces, strict=True)):
            before = left.copy()
            end = underside_of(path.cutter)
            lower, upper = np.ascontiguousarray(pieces.lower), np.ascontiguousarray(pieces.upper)
            sweep_points(px, py, first, *frame, lower, upper, end, left, motion, pieces.owner, ever)
            which[left < before] = k
        back = np.empty_like(order)
        back[order] = np.arange(len(order))
        return left[back], which[back], motion[back]

    def line(self, which: int, motion: int) -> tuple[str | None, int | None]:
        """Return file and line of a motion; None for both where `which` is -1."""
        if which < 0:
            return None, None
        path = self.paths[which]
        return path.program.file, int(path.line[motion])


def celled(x: Floats, y: Floats) -> tuple[Ints, Ints, tuple[float, float, float, int, int]]:
    """Sort points into square cells, about eight a cell, no smaller than 1 mm.

    Returns the order of the points (n,), the first point of each cell in that order (one more entry
    than cells), and the frame of the cells: x0, y0, side, columns, rows. See `sweep_points`.
    """
    x0, y0 = float(x.min()), float(y.min())
    wide, high = float(x.max()) - x0, float(y.max()) - y0
    cell = max(1.0, float(np.sqrt(8.0 * max(wide, 1.0) * max(high, 1.0) / len(x))))
    nx, ny = int(wide / cell) + 1, int(high / cell) + 1
    at = ((y - y0) / cell).astype(np.int64) * nx + ((x - x0) / cell).astype(np.int64)
    order = np.argsort(at, kind="stable")
    first = np.zeros(nx * ny + 1, dtype=np.int64)
    np.cumsum(np.bincount(at, minlength=nx * ny), out=first[1:])
    return order, first, (x0, y0, cell, nx, ny)


@dataclass(frozen=True, slots=True)
class Worst:
    """One point, mm: place, height `left`, height `wanted` (h), file and line of the motion that
    left it."""

    x: float
    y: float
    left: float
    wanted: float
    file: str | None
    line: int | None

    @property
    def off(self) -> float:
        """How far it stands above h, mm (negative: below)."""
        return self.left - self.wanted


@dataclass(frozen=True, slots=True)
class _Points:
    """Points that were solved, as arrays (n,)."""

    x: Floats
    y: Floats
    left: Floats
    wanted: Floats
    which: Ints
    motion: Ints

    @property
    def off(self) -> Floats:
        return self.left - self.wanted

    def worst(self, swept: Swept, index: int) -> Worst:
        file, line = swept.line(int(self.which[index]), int(self.motion[index]))
        x, y, left, wanted = (
            float(values[index]) for values in (self.x, self.y, self.left, self.wanted)
        )
        return Worst(x, y, left, wanted, file, line)


def prove_deck(
    deck: Deck,
    swept: Swept,
    allowed: Allowed,
    measures: MeasureList,
    findings: Findings,
    points: int = POINTS,
) -> tuple[Worst, Worst] | None:
    """Prove the deck that all its files leave.

    No point of `deck.asked` may lie below h by more than `deck.gouge`, or above it by more than
    `deck.scallop` and `allowed.ridges` together, or stay uncut; `deck.spare` and `allowed.edge`
    beside it are left out. `points` random points are taken. Returns the lowest and the highest
    point, or None where no point can be proved.
    """
    area = (
        deck.asked
        if deck.spare is None
        else deck.asked.difference(shapely.buffer(deck.spare, allowed.edge))
    )
    shapely.prepare(area)
    random = np.random.default_rng(_SEED)
    loose = _scattered(area, points, random)
    fine, apart = sections(swept.finish, area, random, float(deck.top))
    if not len(loose):
        findings.add("not-reached", "nothing of the deck can be reached")
        return None
    proved = _solve(np.vstack((loose, fine)), swept, deck.surface)
    walked = _walk(proved, swept, deck.surface, area, max(apart, 0.1))
    _measures(proved, walked, swept, len(loose), deck, measures)
    low, high = (
        walked.worst(swept, int(np.argmin(walked.off))),
        walked.worst(swept, int(np.argmax(walked.off))),
    )
    _tell(proved, walked, swept, deck, allowed, findings)
    return low, high


def check_rim(plane: float, blank: Polygon, spare: BaseGeometry | None, seen: Inspection) -> None:
    """Check that planing reaches the very edge of the blank: a sliver left there is a shim after
    the next flip.

    Solved exactly, `allowed.edge` inside the edge, every `_RIM` mm and at the corners.
    """
    inset: Polygon = blank.buffer(-seen.allowed.edge, join_style="mitre")
    along = shapely.get_coordinates(shapely.segmentize(inset.exterior, _RIM))
    if spare is not None:
        near = shapely.buffer(spare, 2.0 * seen.allowed.edge)
        along = along[~shapely.intersects_xy(near, along[:, 0], along[:, 1])]
    if not len(along):
        return
    # What nothing passes shows as 1 mm too high, well beyond the tolerance.
    left = Swept((seen.path,), plane + 1.0).left(along[:, 0], along[:, 1])[0]
    over = np.flatnonzero(left > plane + seen.allowed.heights)
    for k in over[: seen.findings.keep]:
        place = (float(along[k, 0]), float(along[k, 1]), plane)
        says = "the planing does not reach the edge of the blank here"
        seen.findings.add("plane", says, line=seen.path.line_near(*place[:2]), place=place)
    seen.findings.more("plane", len(over) - seen.findings.keep)


def _scattered(area: BaseGeometry, count: int, random: np.random.Generator) -> Floats:
    """Return random points (n, 2) of the area: `count` in its bounds, less those outside it."""
    x0, y0, x1, y1 = area.bounds
    points = np.column_stack((random.uniform(x0, x1, count), random.uniform(y0, y1, count)))
    inside: Floats = points[shapely.contains_xy(area, points[:, 0], points[:, 1])]
    return inside


def sections(
    paths: Sequence[Path], area: BaseGeometry, random: np.random.Generator, top: float
) -> tuple[Floats, float]:
    """Return points (n, 2) along lines in X and in Y at random places, a fortieth of the distance
    of the passes there apart, and the widest such distance that was met, mm.

    The distance is measured and not taken from the plan: a line left out shows as a wider one.
    """
    runs: list[Floats] = []
    widest = 0.0
    low = [
        path.pieces.pick((path.kind[path.pieces.owner] > 0) & (path.pieces.low < top))
        for path in paths
    ]
    if not low:
        return np.empty((0, 2)), widest
    a = np.vstack([pieces.lower for pieces in low])
    b = np.vstack([pieces.upper for pieces in low])
    reach = 8.0 * max(path.cutter.radius for path in paths)
    for x, y in _scattered(area, _PLACES, random):
        for along in (0, 1):
            at = (float(x), float(y))
            apart = _apart(a, b, at, along, reach)
            if apart <= 0.0:
                continue
            widest = max(widest, apart)
            t = np.arange(-_STEPS_SHOWN * _A_STEP // 2, _STEPS_SHOWN * _A_STEP // 2 + 1) * (
                apart / _A_STEP
            )
            run = np.tile(np.array(at), (len(t), 1))
            run[:, along] += t
            runs.append(run)
    points = np.vstack(runs) if runs else np.empty((0, 2))
    return points[shapely.contains_xy(area, points[:, 0], points[:, 1])], widest


def _apart(a: Floats, b: Floats, at: tuple[float, float], along: int, reach: float) -> float:
    """Return the median distance at which pieces a-b cross the line through `at` along X (`along`
    0) or Y (1), within `reach`; 0 where fewer than two do."""
    side_a, side_b = a[:, 1 - along] - at[1 - along], b[:, 1 - along] - at[1 - along]
    low, high = np.minimum(a[:, along], b[:, along]), np.maximum(a[:, along], b[:, along])
    crosses = (side_a > 0.0) != (side_b > 0.0)
    near = np.flatnonzero(crosses & (low < at[along] + reach) & (high > at[along] - reach))
    share = side_a[near] / (side_a[near] - side_b[near])
    crossing = a[near, along] + (b[near, along] - a[near, along]) * share
    gaps = np.diff(np.sort(crossing[np.abs(crossing - at[along]) <= reach]))
    gaps = gaps[gaps > _LEAST_APART]
    return float(np.median(gaps)) if len(gaps) else 0.0


def _solve(points: Floats, swept: Swept, surface: DeckSurface) -> _Points:
    x, y = np.ascontiguousarray(points[:, 0]), np.ascontiguousarray(points[:, 1])
    return _Points(x, y, *_ordered(swept.left(x, y), surface.height(x, y)))


def _ordered(left: tuple[Floats, Ints, Ints], wanted: Floats) -> tuple[Floats, Floats, Ints, Ints]:
    return left[0], np.asarray(wanted, dtype=np.float64), left[1], left[2]


def _walk(
    proved: _Points, swept: Swept, surface: DeckSurface, area: BaseGeometry, step: float
) -> _Points:
    """Search on from the lowest and the highest points to where it is worse still: steps in eight
    directions, halved in size (a pattern search)."""
    # A ridge is a crest with a cusp, on which a search by gradients oscillates; comparing heights
    # needs no derivative. All starts take their step together, in one call of the kernel.
    low, high = _starts(proved, -1.0), _starts(proved, 1.0)
    start, sign = np.concatenate((low, high)), np.repeat([-1.0, 1.0], (len(low), len(high)))
    at = np.column_stack((proved.x[start], proved.y[start]))
    best = sign * proved.off[start]
    angle = np.arange(8) * (np.pi / 4.0)
    ways = np.column_stack((np.cos(angle), np.sin(angle)))
    size = min(step / 4.0, _LARGEST_MOVE)
    while size > _LEAST_MOVE:
        for _ in range(_MOVES):
            trial = (at[:, None, :] + size * ways[None, :, :]).reshape(-1, 2)
            inside = shapely.contains_xy(area, trial[:, 0], trial[:, 1])
            worse = np.where(
                inside, np.repeat(sign, 8) * _solve(trial, swept, surface).off, -np.inf
            ).reshape(-1, 8)
            choice = np.argmax(worse, axis=1)
            reached = worse[np.arange(len(at)), choice]
            # By more than rounding; otherwise the search would wander about on a level face.
            better = reached > best + 1e-9
            at[better] = trial.reshape(-1, 8, 2)[better, choice[better]]
            best[better] = reached[better]
            if not better.any():
                break
        size /= 2.0
    return _solve(at, swept, surface)


def _starts(proved: _Points, sign: float) -> Ints:
    """Return the indices of the worst points of one side (`sign` -1: low, 1: high), no two in one
    square of `_WALKERS_APART`."""
    order = np.argsort(-sign * proved.off, kind="stable")
    ix = np.floor(proved.x[order] / _WALKERS_APART).astype(np.int64)
    iy = np.floor(proved.y[order] / _WALKERS_APART).astype(np.int64)
    # One integer for each square. `unique` returns where each comes first: its worst point.
    _, once = np.unique(ix * (1 << 32) + iy, return_index=True)
    starts: Ints = order[np.sort(once)[:_WALKERS]]
    return starts


def _measures(
    proved: _Points, walked: _Points, swept: Swept, loose: int, deck: Deck, measures: MeasureList
) -> None:
    off = proved.off
    gouge, ridge = max(deck.gouge, _LEAST), max(deck.scallop, _LEAST)
    edges = (*(share * gouge for share in _BELOW), *(share * ridge for share in _ABOVE))
    counts, _ = np.histogram(off[:loose], bins=np.array([-np.inf, *edges, np.inf]))
    histogram = (("edges", edges), ("counts", tuple(float(count) for count in counts)))
    low, high = (
        walked.worst(swept, int(np.argmin(walked.off))),
        walked.worst(swept, int(np.argmax(walked.off))),
    )
    says = (
        f"furthest below h, solved exactly: {loose} random points, {len(off) - loose} along "
        "sections, and a search"
    )
    measures.take("deck exact low", low.off, 0.0, says, (low.x, low.y), histogram)
    measures.take(
        "deck exact high", high.off, 0.0, "furthest above h, solved exactly", (high.x, high.y)
    )
    over = float((off[:loose] > deck.scallop).mean())
    measures.take_in(
        "",
        "deck exact over",
        over,
        None,
        f"share of the random points above the ridge asked, {mm(deck.scallop):g}",
    )
    measures.take(
        "deck exact mean",
        float(off[:loose].mean()),
        0.0,
        "mean height above h at the random points",
    )


def _tell(
    proved: _Points, walked: _Points, swept: Swept, deck: Deck, allowed: Allowed, findings: Findings
) -> None:  # fmt: skip
    """Report points beyond the limits: the worst of each side first, then others, each with its
    line."""
    for points, first in ((walked, True), (proved, False)):
        off = points.off
        uncut = (points.which < 0) & (off > deck.scallop)
        over = deck.scallop + allowed.ridges
        for which, depth, says in (
            (uncut, off, "nothing cuts the deck here: it stands {:.4f} too high"),
            (
                off < -deck.gouge,
                -off,
                f"at this very point the deck is {{:.4f}} too low, at most {mm(deck.gouge):g} "
                "allowed",
            ),
            (
                ~uncut & (off > over),
                off,
                f"at this very point the deck stands {{:.4f}} too high, {mm(over):g} allowed",
            ),
        ):
            ordered = np.flatnonzero(which)[np.argsort(-depth[which], kind="stable")]
            told = ordered[: 1 if first else _TOLD]
            for index in told:
                _add(
                    points.worst(swept, int(index)),
                    "not-reached" if which is uncut else "deck-height",
                    says,
                    findings,
                )
            if not first:
                findings.more(
                    "not-reached" if which is uncut else "deck-height", len(ordered) - len(told)
                )


def _add(worst: Worst, kind: str, message: str, findings: Findings) -> None:
    off = abs(worst.off)
    place = (worst.x, worst.y, worst.left)
    findings.add(
        kind, message.format(mm(off)), file=worst.file, line=worst.line, place=place, depth=off
    )
