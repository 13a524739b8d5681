"""Finishing a deck in as few minutes as its ridges allow: regions, each with its own direction and
local steps.

Bed frame of C, mm. The steps allowed by the swept section (`corepath.work.cutting.deck_steps`) say
how close lines must lie and where; `deck_regions` says which way they run, `deck_lines` lays them,
and `deck_route` joins them to one path, which follows the drop-cutter heights over the deck. The
path is then tried at many places against the exact sweep of the cutter. Where a ridge stands too
high, the step is made smaller there and the path laid again; what is still too high gets short
strokes (`deck_strokes`). Where the ground is more hollow than the cutter is round, no step helps:
what stays there is reported.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.geometry.polylines import denser
from corepath.kept import Kept
from corepath.motion.clock import table_seconds
from corepath.motion.cutter import Cutter
from corepath.motion.cutter_profile import contact_reach
from corepath.motion.program import Kind
from corepath.motion.reachable import reached_feeds
from corepath.operations.deck.combs.comb_lines import sloping
from corepath.operations.deck.combs.combed import Lay, combed
from corepath.operations.deck.combs.level_lines import level_ground, level_lines
from corepath.operations.deck.combs.planes import outward, toward_outline
from corepath.operations.deck.combs.rim_loops import rim_loops
from corepath.operations.deck.deck_lines import Ends, Sheet, region_lines
from corepath.operations.deck.deck_regions import Region, regions
from corepath.operations.deck.deck_route import routed
from corepath.operations.deck.deck_strokes import mended
from corepath.operations.deck.drop_cutter import DropCutter
from corepath.operations.deck.widths import fed_feeds
from corepath.work.cutting.deck_steps import (
    StepTable,
    level_step,
    needed_bins,
    steps_along,
    steps_by_axis,
)
from corepath.work.keepoff import room_of
from corepath.work.works import Deck, Work

__all__ = ["ROUNDS", "Bounds", "Left", "follower", "left_over", "regional", "with_strokes"]

Array = NDArray[np.float64]
Bounds = tuple[float, float, float, float]

# mm between the places of the path at which the drop-cutter height is worked out.
_SAMPLE = 0.5
_LIFT = 0.001
"""mm by which the path is lifted, so that the thinning to chords does not cut into the deck."""
# mm; how far thinning may move the path up or down.
_THINNED = 0.0015
_SHARE = 0.97
"""Share of the allowed ridge for which the first lines are laid."""
# Bounds the time on large boards: beyond it the squares grow.
_MOST_TRIED = 700_000
_LEAST_SQUARE = 0.5
"""mm; smallest size of the squares in each of which one place is tried; larger where there would be
more than `_MOST_TRIED`."""
_COARSE = (3.0, 1.5)
"""Factors on the size of these squares while lines are still being laid: only a good first guess is
needed there, the strokes are tried at the finest places. Closer squares lay closer lines and leave
fewer strokes: either may take less."""
_TWICE = 0.7
"""mm: both are tried where the finest squares are smaller. On a blank of more than 0.34 m² with its
many lines they differ by less than one in a hundred, and laying all again takes seconds."""
ROUNDS = 4
"""How often lines are laid at most."""
_STROKES = 6
"""How often strokes are added at most."""
_SPARE = 0.0015
"""mm by which the path as tried stays below the allowed ridge, to cover the rounding of the numbers
in the file."""
_HILLY = 0.2
"""Share of the allowed ridge above which a square is tried at more places."""
_WITHIN = 2
"""Places along each side of such a square."""
_EACH = 4
"""Most steps of one length."""
_GAIN = 1e-5
"""mm; after a step that gains less than this no further step of that length is tried. All such
steps together gain less than `_SPARE`."""
_KEPT = 4  # paths that are kept: those of the ways, and one for the track that is laid again
_SUMMIT = 0.9
"""Places left below this share of the allowed ridge are given up before the last stride; the limit
rises from that at which climbing begins to it."""
_SAME_SPOT = 0.25
"""mm; places that round to the same multiple of it count as one spot."""
_AROUND = 4.0
"""mm around a spot that is too high within which places are tried again after the strokes. A climb,
`_EACH` steps of each stride, leads at most 3.95 mm away."""
_NO_HELP = 0.9
"""Strokes that leave more than this share of the places too high do not help: the cutter does not
fit into the ground there."""
_FEW = 300
"""With at most this many spots another round is made in any case."""
_SLIM = 0.4
"""mm by which the radius of a cutter is smaller that must still reach every place tried of a combed
deck: slivers between a comb and the lines beside it may be narrower than the squares."""
_MOST_BAD = 20_000
"""With more places too high than this, it is a hollow that no stroke reaches."""
# Share of the turn radius by which turns between extra lines begin before their ends (`routed`);
# the lines were made longer than needed, see `deck_lines`.
_EARLY = 0.8
_CELL = 1.2
"""mm; cells of about this size list the moves that may decide what is left in them."""
_PLACES_A_CELL = 4
"""From about so many places in each small cell on, making them is quicker than to do without."""
_ROUNDED = 1e-9  # mm; no sum that is rounded decides whether a height is enough
_ANY = 1e9
"""mm; any height that the cutter leaves is lower, inf where it does not come is not."""
_LEVEL = 1e-4
"""Slope up to which ground counts as level."""
_SAME = 0.3  # mm: outer sides of a region closer than this to the blank's are the blank's


class _Climb(NamedTuple):
    """A climb begins at the highest place in each square of `hill` mm, of those higher than the
    share `foot` of the allowed ridge, by steps of `strides`, mm, in eight directions, in turn."""

    foot: float
    hill: float
    strides: tuple[float, ...]


# Ridges meet in cusps a tenth of a millimetre wide, which places a millimetre apart miss.
_FAR = _Climb(0.5, 1.0, (0.5, 0.25, 0.12, 0.06, 0.03, 0.015, 0.008, 0.004))
# A long step along a ridge may gain more than one across it, and leads away from a crest that is
# higher just here: short steps come to that crest first.
_CLOSE = _Climb(0.8, 0.5, (0.06, *_FAR.strides[2:]))


@dataclass(frozen=True, slots=True)
class Left:
    """What a path leaves over the deck at its worst places, mm: lowest and highest, and where."""

    low: float
    high: float
    x: float
    y: float
    unreached: int


def regional(
    work: Work,
    deck: Deck,
    offset: DropCutter,
    bounds: Bounds,
    *,
    open_sides: bool,
    rounds: int = ROUNDS,
) -> Array:
    """The places (n, 2), mm, where the axis goes to finish the deck within `bounds` with the cutter
    of `work`, in one path.

    `bounds` is (left, low, right, high). With `open_sides` its sides are those of the blank, and
    lines may run over them; where the ground is not level along a side, it may have to be finished
    from beyond it. `rounds` is how often lines are laid at most; with 1 no strokes are added.
    """
    tried = bounds
    # The contact of a flat end lies up to its radius away from its axis: sloping ground at a side
    # is touched from outside the blank. The lines then cover that strip too, and need not run over
    # its sides.
    if open_sides and not _level_rim(offset, bounds, work.cutter.radius):
        reach = work.cutter.radius
        bounds = (bounds[0] - reach, bounds[1] - reach, bounds[2] + reach, bounds[3] + reach)
        open_sides = False
    # Lifting and thinning take their part of the allowed ridge, but never more than half of it, or
    # a fine scallop would ask for no step at all.
    laid_for = _SHARE * max(deck.scallop - _LIFT - _THINNED, 0.5 * deck.scallop)
    widest = level_step(work.cutter, laid_for, work.cutting.stepover)
    needed = None
    if deck.finished is not None:
        needed = needed_bins(deck.surface, work.cutter, bounds, deck.finished)
    tables = [
        replace(
            steps_by_axis(deck.surface, work.cutter, laid_for, widest, bounds, across=across),
            needed=needed,
        )
        for across in (False, True)
    ]
    square = None if deck.outline is None else outward(deck.outline)
    if square is not None:
        toward = toward_outline(deck.surface, square)
        steps = steps_along(deck.surface, work.cutter, laid_for, widest, bounds, toward)
        tables.append(replace(steps, needed=needed))
    split = regions(tables[0], tables[1], widest, bounds[2], bounds[3], deck.grain_penalty)
    sloped, flat = sloping(tables[0], widest), work.cutter.flat_radius

    def by_regions(steps: list[StepTable]) -> Array:
        return _laid(split, steps, widest, flat, bounds, open_sides)

    level_on = level_ground(tables[0], sloped, flat, tried)
    level = level_lines(level_on, (widest, flat), tried)
    plain = Lay(widest, flat, bounds, level, deck.grain_penalty)

    def by_combs(lay: Lay) -> Callable[[list[StepTable]], Array]:
        return lambda steps: combed(steps, sloped, lay)

    ground = _Ground(work, deck, offset, bounds, tried)
    # Beside obstacles lines are clipped: then only long ones leave nothing behind a screw, and the
    # time of the whole track says little.
    lays: list[tuple[Callable[[list[StepTable]], Array], float]] = [(by_regions, 0.0)]
    if room_of(work) is None:
        lays.append((by_combs(plain), _SLIM))
        if square is not None:
            lays.append((by_combs(replace(plain, square=square)), _SLIM))
            if deck.finished is not None:
                loops, rest = rim_loops(level_on, deck.finished, widest, flat)
                lines = level_lines(rest, (widest, flat), tried)
                rimmed = replace(plain, square=square, loops=tuple(loops), level=lines)
                lays += [(by_combs(rimmed), _SLIM)] if loops else []
    first = [(lay, lay(tables), slim) for lay, slim in lays]
    ways = sorted(
        (_Way(lay, track, ground.cost(track), slim) for lay, track, slim in first),
        key=lambda way: way.cost,
    )
    return ways[0].track if rounds == 1 else _shortest(ground, tables, ways, rounds)


@dataclass(frozen=True, slots=True)
class _Ground:
    """What is finished with which cutter: the axis may go over `bounds`, the ground of `tried` is
    judged, both (left, low, right, high), mm."""

    work: Work
    deck: Deck
    offset: DropCutter
    bounds: Bounds
    tried: Bounds
    kept: Kept = field(default_factory=lambda: Kept(_KEPT), repr=False)

    def path(self, track: Array) -> Array:
        """The tip's path (m, 3) along the track (n, 2)."""
        return self.kept.of(track.tobytes(), lambda: follower(self.offset)(track))

    def swept(self, track: Array, slim: float = 0.0) -> _Swept:
        """What the track (n, 2) leaves, by a cutter whose radius is smaller by `slim` mm."""
        cutter = replace(self.work.cutter, diameter=self.work.cutter.diameter - 2.0 * slim)
        work = replace(self.work, cutter=cutter) if slim > 0.0 else self.work
        return _Swept.by(self.path(track), work, self.tried, self.offset)

    def cost(self, track: Array) -> float:
        """Seconds of the track (n, 2); those across the grain count `grain_penalty` times.

        Rounded, so that a tie goes to the same one on every machine.
        """
        path, limits = self.path(track), self.work.milling.limits
        table = np.zeros((len(path), 7))
        table[:, 0], table[:, 1:4], table[:, 4] = Kind.LINE, path, self.work.cutting.finish
        table[:, 4] = fed_feeds(table, self.work)
        table[:, 4] = reached_feeds(table, limits.accel)
        spent = table_seconds(table, limits)
        along, across = np.abs(np.diff(path[:, :2], axis=0)).T
        factor = np.where(across > along, self.deck.grain_penalty, 1.0)
        return round(float((spent[1:] * factor).sum()), 3)


@dataclass(frozen=True, slots=True)
class _Way:
    """One way to lay lines: a function from tables of steps to a track, its first track, what that
    costs, and by how much a radius may be smaller and reach all the same."""

    lay: Callable[[list[StepTable]], Array]
    track: Array
    cost: float
    slim: float


def _shortest(ground: _Ground, tables: list[StepTable], ways: list[_Way], rounds: int) -> Array:
    """The track that takes least of those that leave no more than allowed, or of all if none does.

    `ways` have the shortest first.
    """
    found: list[tuple[bool, float, int, Array]] = []
    for way in ways:
        # A track that is laid again or gets strokes does not become shorter.
        if any(clean and way.cost >= cost for clean, cost, _, _ in found):
            break
        for coarse in _COARSE if _square(ground.tried) < _TWICE else _COARSE[:1]:
            laid = _closer_laid(ground, tables, way, rounds, coarse)
            track, clean = _mended(laid, ground, way.slim)
            found.append((clean, ground.cost(track), len(found), track))
    return min(found, key=lambda one: (not one[0], *one[1:3]))[3]


def _closer_laid(
    ground: _Ground, tables: list[StepTable], way: _Way, rounds: int, coarse: float
) -> Array:
    """The track laid again with smaller steps where it leaves too much, `rounds` times at most;
    `coarse` is how many times as large as the finest the squares are that it is tried in."""
    wanted = _wanted(ground.deck)
    places = _asked(_tried(ground.tried, coarse * _square(ground.tried)), ground.deck)
    track = way.track
    for k in range(rounds):
        found = ground.swept(track).heights(places, wanted)
        # Not `found > wanted`: places that the cutter does not reach (inf or nan) count as bad.
        bad = ~(found <= wanted)
        if not bad.any() or k == rounds - 1:
            break
        tables = [
            _closer(table, ground.work, ground.offset, places[bad], found[bad], wanted)
            for table in tables
        ]
        track = way.lay(tables)
    return track


def with_strokes(
    track: Array, work: Work, deck: Deck, offset: DropCutter, bounds: Bounds, tried: Bounds
) -> Array:
    """The track (n, 2) with strokes added where it leaves more than the allowed ridge within
    `tried`, as far as strokes help.

    Works on any track, such as a ball's plain lines. `bounds` is where the axis may go, `tried` the
    part of the deck that is judged, both (left, low, right, high), mm.
    """
    return _mended(track, _Ground(work, deck, offset, bounds, tried))[0]


def _wanted(deck: Deck) -> float:
    """The highest ridge that the path as tried may leave, mm."""
    # Never more than 3 % of a small ridge: lines would come far closer for nothing.
    return deck.scallop - min(_SPARE, 0.03 * deck.scallop)


def _mended(track: Array, ground: _Ground, slim: float = 0.0) -> tuple[Array, bool]:
    """The track with strokes where it leaves too much at the finest places, or a radius smaller by
    `slim` mm would not come, as long as they help; and whether it then leaves too much nowhere.

    Strokes come after all other lines and only lower what is left: places away from those that are
    too high need not be tried again.
    """
    wanted = _wanted(ground.deck)
    places = _asked(_tried(ground.tried, _square(ground.tried)), ground.deck)
    before = math.inf
    for _ in range(_STROKES):
        swept = ground.swept(track)
        found = swept.heights(places, _HILLY * wanted)
        peaks, heights = _climbed(swept, places, found, ground.tried, wanted)
        high = [places[~(found <= wanted)], peaks[~(heights <= wanted)]]
        if slim > 0.0:
            high.append(places[np.isposinf(ground.swept(track, slim).heights(places, math.inf))])
        # Rounded to spots: a climb from each of many places on one ridge ends at the same cusp.
        bad = np.unique(np.round(np.concatenate(high) / _SAME_SPOT), axis=0) * _SAME_SPOT
        count = len(bad)
        # Nothing left, or a hollow, or no progress: the track as it is, and `left_over` reports
        # what stays.
        if count == 0 or count > _MOST_BAD or (count > _FEW and count > _NO_HELP * before):
            return track, count == 0
        before = count
        axis, way = _axis(ground.work, ground.offset, bad)
        track = mended(track, axis, way, ground.bounds)
        places = places[_around(places, bad)]
    return track, False


def _asked(places: Array, deck: Deck) -> Array:
    """Those of the places (n, 2) that are to be finished."""
    if deck.finished is None:
        return places
    shapely.prepare(deck.finished)
    found: Array = places[shapely.contains_xy(deck.finished, places)]
    return found


def _around(places: Array, spots: Array) -> NDArray[np.bool_]:
    """Which of the places (n, 2) lie within `_AROUND` of any of the spots (m, 2)."""
    from scipy.spatial import cKDTree

    away, _ = cKDTree(spots).query(places, distance_upper_bound=_AROUND)
    return np.asarray(np.isfinite(away))


def _climbed(
    swept: _Swept, places: Array, found: Array, bounds: Bounds, wanted: float
) -> tuple[Array, Array]:
    """Places (n, 2) where ridges are highest, and their heights (n,), climbing from the places (m,
    2) tried already and what was `found` there.

    Strips cut at the edge of the cutter meet in cusps much narrower than the squares; a place
    beside one is still on the ridge that leads up to it.
    """
    near = _beside(places[found > _HILLY * wanted], bounds)
    at, best = (
        np.concatenate([places, near]),
        np.concatenate([found, swept.heights(near, _FAR.foot * wanted)]),
    )
    climbs = []
    for climb in (_FAR, _CLOSE):
        start = _hills(at, best, climb.foot * wanted, climb.hill)
        climbs.append(_climb(swept, at[start], best[start], bounds, climb, wanted))
    return np.concatenate([at for at, _ in climbs]), np.concatenate([best for _, best in climbs])


def _climb(
    swept: _Swept,
    at: Array,
    best: Array,
    bounds: Bounds,
    climb: _Climb,
    wanted: float,
) -> tuple[Array, Array]:
    """Where a climb leads from the places `at` (n, 2), `best` (n,) high, and how high; those given
    up on the way are left out."""
    left, low, right, top = bounds
    # A climb tries about a hundred places: eight round each of a few steps at most strides.
    swept = swept.split(100 * len(at))
    ways = np.array([(math.cos(k * math.pi / 4.0), math.sin(k * math.pi / 4.0)) for k in range(8)])
    for k, stride in enumerate(climb.strides):
        # A hill that is still low after the coarse strides will not reach the limit by fine ones:
        # it is given up.
        share = climb.foot + (_SUMMIT - climb.foot) * k / len(climb.strides)
        stay = best > share * wanted
        at, best = at[stay], best[stay]
        moving = np.arange(len(at))
        for _ in range(_EACH):
            if not len(moving):
                break
            ahead = (at[moving][:, None, :] + stride * ways).reshape(-1, 2)
            # Just inside: the frame of `_Swept` ends at the bounds.
            ahead = np.clip(ahead, (left, low), (right - 1e-6, top - 1e-6))
            gained = np.repeat(best[moving] + _GAIN, len(ways))
            heights = swept.heights(ahead, gained).reshape(-1, len(ways))
            steepest = np.argmax(heights, axis=1)
            reached = heights[np.arange(len(moving)), steepest]
            up = reached > best[moving] + _GAIN
            best[moving[up]] = reached[up]
            at[moving[up]] = ahead.reshape(-1, len(ways), 2)[up, steepest[up]]
            moving = moving[up]
    return at, best


def _hills(places: Array, found: Array, foot: float, size: float) -> NDArray[np.int64]:
    """Indices of the highest place in each square of `size` mm, of those higher than `foot`;
    places not reached (inf) are left out."""
    high = np.flatnonzero(np.isfinite(found) & (found > foot))
    # Highest first, so the first index in each square is its highest place; rounded and stable so
    # that equal heights keep their order on every machine.
    high = high[np.argsort(-np.round(found[high], 9), kind="stable")]
    spot = np.floor(places[high] / size).astype(np.int64)
    # One key for both indices of a square, as one int64.
    _, first = np.unique(spot[:, 0] * (1 << 32) + spot[:, 1], return_index=True)
    hills: NDArray[np.int64] = high[np.sort(first)]
    return hills


def _beside(places: Array, bounds: Bounds) -> Array:
    """Evenly spaced places (n, 2) within the squares of those given, `_WITHIN` by `_WITHIN` in
    each."""
    size, (left, low, right, top) = _square(bounds), bounds
    along = (np.arange(_WITHIN) + 0.5) / _WITHIN
    within = np.array([(i, j) for i in along for j in along])
    origin = np.array([left, low])
    corner = np.floor((places - origin) / size)
    beside: Array = origin + size * (corner[:, None, :] + within).reshape(-1, 2)
    # 1e-6 mm inside: a place on the far sides would fall into a cell beyond the last.
    return np.minimum(beside, (right - 1e-6, top - 1e-6))


def _axis(work: Work, offset: DropCutter, places: Array) -> tuple[Array, Array]:
    """Where the axis stands (n, 2) when the cutter finishes the places (n, 2), and the unit vectors
    (n, 2) up the slope there (X on level ground).

    The contact lies up the slope from the axis (`contact_reach`), so the axis lies down the slope
    from the place.
    """
    x, y = places.T
    hx, hy = offset.surface.gradient(x, y)
    slope = np.hypot(hx, hy)
    # Below this slope the direction of the gradient is rounding: such ground is finished from
    # straight above.
    tilted = slope > 1e-5
    reach = contact_reach(slope, work.cutter.profile)
    axis = np.column_stack(
        [x - np.where(tilted, reach * hx, 0.0), y - np.where(tilted, reach * hy, 0.0)]
    )
    way = np.column_stack([np.where(tilted, hx, 1.0), np.where(tilted, hy, 0.0)])
    return axis, way / np.hypot(*way.T)[:, None]


def _level_rim(offset: DropCutter, bounds: Bounds, width: float) -> bool:
    """Whether the ground is level in a strip of this width (mm) along the inside of the bounds."""
    left, low, right, high = bounds
    x, y = np.arange(left, right + 1.0), np.arange(low, high + 1.0)
    for inside in np.linspace(0.0, width, 5):
        for places in (
            (x, np.full(len(x), low + inside)),
            (x, np.full(len(x), high - inside)),
            (np.full(len(y), left + inside), y),
            (np.full(len(y), right - inside), y),
        ):
            hx, hy = offset.surface.gradient(*places)
            if float(np.hypot(hx, hy).max()) > _LEVEL:
                return False
    return True


def follower(offset: DropCutter) -> Callable[[Array], Array]:
    """A function from places (n, 2) of the axis to the tip's path (m, 3) through them: drop-cutter
    heights at most `_SAMPLE` apart, lifted and thinned."""
    from corepath.motion.fit import thin

    def follow(track: Array) -> Array:
        flat = denser(track, _SAMPLE)
        heights = offset.tip(flat[:, 0], flat[:, 1]) + _LIFT
        path: Array = thin(np.column_stack([flat, heights]), _THINNED)
        return path

    return follow


def left_over(path: Array, work: Work, deck: Deck, offset: DropCutter) -> Left:
    """What any tip path (n, 3) of the work's cutter leaves over the deck at its worst places.

    One place in each square of at least `_LEAST_SQUARE` mm is tried.
    """
    bounds = deck.asked.bounds
    places = _asked(_tried(bounds, _square(bounds)), deck)
    return _worst(_Swept.by(path, work, bounds, offset).heights(places), places)


def _square(bounds: Bounds) -> float:
    left, low, right, high = bounds
    return max(_LEAST_SQUARE, math.sqrt((right - left) * (high - low) / _MOST_TRIED))


def _tried(bounds: Bounds, size: float) -> Array:
    """(n, 2) places, one at a random position in each square of `size` mm, the same ones every
    time.

    Random positions do not fall in step with lines at even distances, of which a regular grid might
    see only the valleys.
    """
    left, low, right, high = bounds
    columns, rows = math.ceil((right - left) / size), math.ceil((high - low) / size)
    spots = np.random.default_rng(20).random((columns, rows, 2))
    spots += np.stack(np.meshgrid(np.arange(columns), np.arange(rows), indexing="ij"), axis=-1)
    places = spots.reshape(-1, 2) * size + (left, low)
    # 1e-6 mm inside: a place on the far sides would fall into a cell beyond the last.
    return np.minimum(places, (right - 1e-6, high - 1e-6))


@dataclass(frozen=True, slots=True)
class _Swept:
    """What a tip path (m, 3) of a cutter leaves over the deck; which moves matter where is worked
    out once."""

    path: Array
    cutter: Cutter
    offset: DropCutter
    frame: Array
    starts: NDArray[np.int64]
    moves: NDArray[np.int64]
    finished: Polygon | None = None

    @classmethod
    def by(cls, path: Array, work: Work, bounds: Bounds, offset: DropCutter) -> _Swept:
        """Prepared for places within the bounds (left, low, right, high), mm."""
        from corepath.operations.deck.deck_kernels import reaching

        left, low, right, high = bounds
        cutter, path = work.cutter, np.ascontiguousarray(path)
        # Smaller cells list fewer moves each but more cells a move; results do not depend on it.
        cell = max(0.4 * cutter.radius, 3.0)
        frame = np.array(
            [left, low, cell, math.ceil((right - left) / cell), math.ceil((high - low) / cell)]
        )
        starts, moves = reaching(path, cutter.profile, frame)
        finished = None if work.deck is None else work.deck.finished
        return cls(path, cutter, offset, frame, starts, moves, finished)

    def split(self, places: int) -> _Swept:
        """The same in cells of about `_CELL`, where so many places are to be tried that finding the
        moves of each cell takes less time than it saves."""
        from corepath.operations.deck.deck_kernels import finer

        parts = math.ceil(self.frame[2] / _CELL)
        if places < _PLACES_A_CELL * parts * parts * (len(self.starts) - 1):
            return self
        frame, starts, moves = finer(
            self.path, self.cutter.profile, self.frame, parts, self.starts, self.moves
        )
        return replace(self, frame=frame, starts=starts, moves=moves)

    def heights(self, places: Array, enough: Array | float = -math.inf) -> Array:
        """(n,) heights over the deck at the places (n, 2), mm; inf where the path does not come,
        -inf where nothing is to be finished.

        Where it is no more than `enough` (n,), any height from the true one to that is as good.
        """
        from corepath.operations.deck.deck_kernels import left_at

        x, y = np.ascontiguousarray(places[:, 0]), np.ascontiguousarray(places[:, 1])
        ground = self.offset.surface.height(x, y)
        asked = np.column_stack([x, y, np.minimum(ground + enough - _ROUNDED, _ANY)])
        heights = left_at(
            self.path, self.cutter.profile, asked, self.frame, self.starts, self.moves
        )
        result: Array = heights - ground
        if self.finished is not None:
            shapely.prepare(self.finished)
            result[~shapely.contains_xy(self.finished, x, y)] = -np.inf
        return result


def _worst(found: Array, places: Array) -> Left:
    reached = np.isfinite(found)
    high = np.where(reached, found, -np.inf)
    k = int(np.argmax(np.round(high, 9)))
    x, y = (float(value) for value in places[k])
    return Left(float(found.min()), float(high[k]), x, y, int((~reached).sum()))


def _laid(
    split: list[Region],
    tables: list[StepTable],
    widest: float,
    flat: float,
    bounds: Bounds,
    open_sides: bool,
) -> Array:
    """The axis' places (n, 2) over all regions, one after another: in each the through lines, then
    the extra ones."""
    here, pieces = (bounds[0], bounds[1]), []
    for region in split:
        sheet, ends = _sheet(region, tables[1 if region.across else 0], bounds, open_sides)
        # Lines are laid in the region's own plane, u along them: for lines along Y, u is Y.
        start = here[::-1] if region.across else here
        through, extra = region_lines(sheet, widest, flat, ends)
        if not through:
            continue  # nothing of the region is finished
        path = routed(through, start, 0.0)
        if extra:
            path = np.concatenate(
                [path, routed(extra, (float(path[-1, 0]), float(path[-1, 1])), _EARLY)]
            )
        pieces.append(path[:, ::-1] if region.across else path)
        here = (float(pieces[-1][-1, 0]), float(pieces[-1][-1, 1]))
    return np.concatenate(pieces)


def _sheet(
    region: Region, steps: StepTable, bounds: Bounds, open_sides: bool
) -> tuple[Sheet, Ends]:
    """The steps of one region with u along its lines, and which of its sides are open."""
    left, low, right, high = bounds
    columns = slice(
        round((region.left - steps.left) / steps.size),
        math.ceil((region.right - steps.left) / steps.size),
    )
    rows = slice(
        round((region.low - steps.low) / steps.size),
        math.ceil((region.high - steps.low) / steps.size),
    )
    table = steps.table[columns, rows]
    needed = None if steps.needed is None else steps.needed[columns, rows]
    west, east = (
        open_sides and region.left < left + _SAME,
        open_sides and region.right > right - _SAME,
    )
    south, north = (
        open_sides and region.low < low + _SAME,
        open_sides and region.high > high - _SAME,
    )
    if region.across:
        turned = None if needed is None else needed.T
        sheet = Sheet(
            table.T, region.low, region.left, region.high, region.right, steps.size, turned
        )
        return sheet, Ends(south, north, west, east)
    sheet = Sheet(table, region.left, region.low, region.right, region.high, steps.size, needed)
    return sheet, Ends(west, east, south, north)


def _closer(
    steps: StepTable, work: Work, offset: DropCutter, places: Array, found: Array, wanted: float
) -> StepTable:
    """The table with smaller steps where the axis finishes `places` (n, 2) that stand too high, by
    the heights `found` (n,), mm.

    Ridges grow as the square of the step, so the step shrinks by the root of wanted / found.
    """
    axis, _ = _axis(work, offset, places)
    i = np.floor((axis[:, 0] - steps.left) / steps.size).astype(np.int64)
    j = np.floor((axis[:, 1] - steps.low) / steps.size).astype(np.int64)
    # A place that was not reached at all has no height: count it as twice too high.
    high = np.where(np.isfinite(found), found, 2.0 * wanted)
    # Between 0.6 and 0.97: at least a little closer each time, but no collapse where a height is
    # far off because of a hollow.
    share = np.clip(np.sqrt(wanted / high) * 0.97, 0.6, 0.97)
    factor = np.ones_like(steps.table)
    columns, rows = factor.shape
    # Two bins around as well: neighbouring lines are laid by the smallest step between them.
    for di in range(-2, 3):
        for dj in range(-2, 3):
            spot = (np.clip(i + di, 0, columns - 1), np.clip(j + dj, 0, rows - 1))
            np.minimum.at(factor, spot, share)
    return replace(steps, table=steps.table * factor)
