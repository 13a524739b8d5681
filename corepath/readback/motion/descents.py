"""Plunges and ramps into solid material: straight down, too steep, or too fast for the cutter.

In pockets and holes the engagement shows what stands under the cutter's axis; for all other files
it is solved here, exactly, against all that was cut before. Material counts within half the radius
of the axis. A path that follows a slope, as over a deck or along a rocker, may go down as steeply
as that slope and the cutter's ramp together. Lengths in mm, feeds in mm/min, bed frame.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.gcode.read.findings import Findings
from corepath.lengths import feed as per_min
from corepath.lengths import mm
from corepath.readback.surfaces.exact_deck import celled
from corepath.stock.engagement import Engagement
from corepath.stock.exact_kernels import sweep_points
from corepath.stock.material import NOWHERE, Past, Stock
from corepath.stock.path import Path
from corepath.work.works import Work

__all__ = [
    "SOLID",
    "Descents",
    "check_descents",
    "descents_engaged",
    "descents_solved",
    "least_slope",
    "ways",
]

SOLID = 0.05
"""mm of material under the axis from which on it counts as solid."""

# A planned ramp has just the cutter's slope; rounding of its ends makes it a little steeper.
_STEEPER = 1.02
_ALMOST = 0.995  # of the ramp's slope: no steeper lines of a roughed deck run at the feed sideways
_FASTER = 1.01  # F is rounded too
_ROUNDING = 0.0003
"""mm by which the fall between two heights may be larger as written: each is rounded by up to half
of the last decimal, 0.0001 mm or, the coarser of the two, 0.00001 in = 0.000254 mm."""
_UPRIGHT = 1e-9
# Half the radius: farther out the edges cut, even of a cutter without edges in its middle; it is
# the middle that would rub.
_INNER = 0.5  # radii from the axis within which material counts
_ROUND = 8  # points on that circle
_DENSE = 48  # points on a circle on which the deck may touch
_LONGEST = 40  # places looked at along one piece
_THINNED = 0.02  # mm that points left out of a slope may stand off
_EVER = np.iinfo(np.int64).max

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Descents:
    """Of each motion (n,), mm: `level`, its length seen from above; `fall`, how far it goes down;
    `under`, how high material stood above the tip under its axis."""

    level: Floats
    fall: Floats
    under: Floats

    @property
    def upright(self) -> Flags:
        return np.asarray((self.level < _UPRIGHT) & (self.fall > 0.0), dtype=np.bool_)

    def steeper(self, slope: float) -> Flags:
        """Tell for each motion (n,) whether it falls more than `slope` (mm a mm), those straight
        down left out; none for an infinite slope."""
        if math.isinf(slope):
            return np.zeros(len(self.level), dtype=np.bool_)
        found = ~self.upright & (self.fall > slope * self.level + _ROUNDING)
        return np.asarray(found, dtype=np.bool_)


def descents_engaged(path: Path, found: Engagement) -> Descents:
    """Return the ways down of a file whose engagement is known."""
    level, fall = ways(path)
    under = np.zeros(len(path.kind))
    np.maximum.at(under, found.pieces.owner[found.piece], found.under)
    return Descents(level, fall, under)


def descents_solved(path: Path, stock: Stock, slope: float, among: Flags | None = None) -> Descents:
    """Return the ways down of the path that was last cut on `stock`.

    What stood under the axis is solved only for plunges and for what falls more than `slope` (mm a
    mm), of the motions `among` (n,) where they are given; for the others it is 0.
    """
    level, fall = ways(path)
    down = Descents(level, fall, np.zeros(len(level)))
    which = (path.kind > 0) & (down.upright | down.steeper(slope))
    if among is not None:
        which &= among
    if which.any():
        _look_under(path, stock, which, down.under)
    return down


def ways(path: Path) -> tuple[Floats, Floats]:
    """Return for each motion (n,) its length seen from above, and how far it falls, mm."""
    pieces = path.pieces
    long = np.hypot(*(pieces.upper - pieces.lower)[:, :2].T)
    level = np.asarray(np.bincount(pieces.owner, long, minlength=len(path.kind)), dtype=np.float64)
    return level, np.asarray(path.start[:, 2] - path.end[:, 2], dtype=np.float64)


def _look_under(path: Path, stock: Stock, which: Flags, under: Floats) -> None:
    """Set `under` (n,) of the motions `which` to how high material stood above the tip within half
    the radius of the axis."""
    # Places half a radius apart along each piece (farther on very long ones), the last at its end.
    pieces = path.pieces.pick(which[path.pieces.owner])
    way = pieces.upper - pieces.lower
    count = (
        np.ceil(np.hypot(*way[:, :2].T) / (_INNER * path.cutter.radius))
        .clip(1, _LONGEST)
        .astype(np.int64)
    )
    of = np.repeat(np.arange(len(count)), count)
    share = (np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count) + 1.0) / count[of]
    tip = pieces.lower[of] + share[:, None] * way[of]
    x, y = _disc(tip[:, :2], _INNER * path.cutter.radius)
    owner = np.repeat(pieces.owner[of], _ROUND + 1)
    stood = _stood(path, stock, np.column_stack([x.ravel(), y.ravel()]), owner)
    np.maximum.at(under, owner, stood - np.repeat(tip[:, 2], _ROUND + 1))


def _stood(path: Path, stock: Stock, places: Floats, before: Ints) -> Floats:
    """Return the height (k,) at `places` (k, 2) before the motion `before` (k,) of the path last
    cut."""
    # The columns show the blank after the whole path. So the heights at the beginning of the set-up
    # are lowered again by all paths since, the last one as far as each motion asked about.
    grid = stock.grid
    ix = np.floor((places[:, 0] - grid.x0) / grid.px + 0.5).astype(np.int64)
    iy = np.floor((places[:, 1] - grid.y0) / grid.py + 0.5).astype(np.int64)
    over = (ix >= 0) & (iy >= 0) & (ix < grid.nx) & (iy < grid.ny)
    left = np.full(len(places), NOWHERE)
    left[over] = stock.began[iy[over], ix[over]]
    order, first, frame = celled(places[:, 0], places[:, 1])
    px, py = np.ascontiguousarray(places[order, 0]), np.ascontiguousarray(places[order, 1])
    heights, by = left[order], np.zeros(len(order), dtype=np.int64)

    def cut(past: Past, tag: Ints, until: Ints, lowered: Floats) -> None:
        lower, upper = np.ascontiguousarray(past.lower), np.ascontiguousarray(past.upper)
        sweep_points(px, py, first, *frame, lower, upper, past.end, lowered, by, tag, until)

    for past in stock.past[:-1]:
        ever = np.full(len(order), _EVER)
        cut(past, np.zeros(len(past.lower), dtype=np.int64), ever, heights)
    own, until = stock.past[-1], before[order]

    def sweeping() -> Floats:
        alone = np.full(len(order), np.inf)
        cut(own, path.pieces.owner, until, alone)
        return alone

    if stock.memory is None:
        cut(own, path.pieces.owner, until, heights)
    else:
        # What the path itself leaves is the same on every blank.
        way, asked = (own.lower, own.upper), (path.pieces.owner, px, py, until)
        np.minimum(heights, stock.memory.left(own.end, way, asked, sweeping), out=heights)
    back = np.empty_like(heights)
    back[order] = heights
    return back


def check_descents(work: Work, path: Path, down: Descents, findings: Findings) -> None:
    """Check that no motion goes down into solid material in a way that the cutter cannot, or faster
    than its feed for it."""
    solid = (path.kind > 0) & (down.under > SOLID)
    if not solid.any():
        return
    cutter = path.cutter
    plunges = solid & down.upright
    if not cutter.centre_cutting:
        _tell(path, down, plunges, "plunge", _plunge, findings)
    if cutter.flat_radius > 0.0 and not _finishes(work):
        _tell(path, down, _too_steep(work, path, down, solid), "steep-ramp", _steep, findings)
    _feeds(work, path, down, solid, findings)


def least_slope(work: Work, path: Path) -> float:
    """Return the slope (mm a mm) from which on what a motion meets on its way down is solved:
    infinite where the deck is finished, 0 except on the deck."""
    if _finishes(work):
        return math.inf
    return _ramp(path) * _ALMOST if work.deck is not None else 0.0


def _finishes(work: Work) -> bool:
    """Tell whether a work finishes the deck: its file goes down as the deck does, through little
    wood."""
    return work.deck is not None and work.deck.rough <= 0.0


def _ramp(path: Path) -> float:
    return math.tan(math.radians(path.cutter.ramp_angle))


def _too_steep(work: Work, path: Path, down: Descents, solid: Flags) -> Flags:
    """Tell which motions fall more than the cutter's ramp and the slope that they follow
    together."""
    steep = solid & down.steeper(_ramp(path) * _STEEPER)
    at = np.flatnonzero(steep)
    if len(at) and (work.deck is not None or work.trim is not None):
        most = _ramp(path) * _STEEPER * down.level[at] + _followed(work, path, at, down.level[at])
        steep[at] = down.fall[at] > most + _THINNED
    return steep


def _followed(work: Work, path: Path, at: Ints, level: Floats) -> Floats:
    """Return how far the slope that an operation follows falls along the motions `at`, mm."""
    start, end, radius = path.start[at], path.end[at], path.cutter.radius
    if work.trim is not None:
        tip = [work.trim.laid.tip(one[:, 0], radius, work.trim.web) for one in (start, end)]
        return np.asarray(np.maximum(tip[0] - tip[1], 0.0), dtype=np.float64)
    assert work.deck is not None
    heights = [_under(work.deck.surface, one[:, :2], radius) for one in (start, end)]
    # The deck touches the cutter anywhere within its radius, so the contact may move from the
    # highest place under the start to the lowest under the end: the most that the tip can fall with
    # the deck, yet never more than its steepest slope over the whole length.
    drop = heights[0].max(axis=1) - heights[1].min(axis=1)
    return np.asarray(np.clip(drop, 0.0, work.deck.surface.steepest * level), dtype=np.float64)


def _under(surface: DeckSurface, places: Floats, radius: float) -> Floats:
    """Return heights (k, n) of the deck at each of `places` (k, 2) and on circles about it."""
    # A flat end rests on the highest place under it: mostly on its rim, where eight places on a
    # cutter of 50 lie 20 mm apart, and on a hump between middle and rim.
    discs = [_disc(places, share * radius, _DENSE) for share in (1 / 3, 2 / 3, 1.0)]
    return np.hstack([surface.height(*disc) for disc in discs])


def _disc(places: Floats, radius: float, count: int = _ROUND) -> tuple[Floats, Floats]:
    """Return X and Y (k, n) of each of `places` (k, 2) and of `count` points on a circle about
    it."""
    angle = 2.0 * math.pi * np.arange(count) / count
    about = np.vstack([np.zeros((1, 2)), radius * np.column_stack([np.cos(angle), np.sin(angle)])])
    some = places[:, None, :] + about[None]
    return np.ascontiguousarray(some[..., 0]), np.ascontiguousarray(some[..., 1])


def _feeds(work: Work, path: Path, down: Descents, solid: Flags, findings: Findings) -> None:
    """Check that ramps run at the feed of a ramp, or less; the feed straight down is checked for
    every cut (`feeds`), not only in solid material."""
    limit, feed = max(work.cutting.ramp, work.cutting.plunge), path.program.feed[path.index]
    fast = solid & down.steeper(least_slope(work, path)) & (feed > limit * _FASTER)
    at = np.flatnonzero(fast)
    if len(at) and work.trim is not None:
        below = down.fall[at] - _followed(work, path, at, down.level[at])
        fast[at] = below > _ramp(path) / 2.0 * down.level[at] + _THINNED

    def says(_path: Path, _down: Descents, k: int) -> str:
        return f"F{per_min(feed[k]):.0f} down a ramp into solid wood, planned {per_min(limit):.0f~}"

    _tell(path, down, fast, "feed-too-high", says, findings)


def _plunge(path: Path, down: Descents, k: int) -> str:
    return (
        f"straight down into {mm(down.under[k]):.2f} of solid wood; {path.cutter.describe()} does "
        "not cut to its centre"
    )


def _steep(path: Path, down: Descents, k: int) -> str:
    angle = math.degrees(math.atan2(down.fall[k], down.level[k]))
    return (
        f"down at {angle:.1f} degrees into solid wood, the cutter takes {path.cutter.ramp_angle:g}"
    )


def _tell(
    path: Path,
    down: Descents,
    which: Flags,
    kind: str,
    message: Callable[[Path, Descents, int], str],
    findings: Findings,
) -> None:
    found = np.flatnonzero(which)
    for k in found[: findings.keep].tolist():
        x, y, z = (float(value) for value in path.end[k])
        depth = float(min(down.under[k], down.fall[k]))
        findings.add(
            kind, message(path, down, k), line=int(path.line[k]), place=(x, y, z), depth=depth
        )
    findings.more(kind, len(found) - findings.keep)
