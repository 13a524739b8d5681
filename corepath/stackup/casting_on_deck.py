"""What of the casting shows once the deck is cut: band along the edge, plugs, and unfilled places.

The finished core is given as a height map of columns in the board frame, mm: arrays [iy, ix] of the
highest wood and the highest casting above the finished bottom, NaN where there is none. Each column
is a point sample, so an edge lies within half the spacing of where it is found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.features import Board, Casting
from corepath.geometry.polylines import places_along
from corepath.lengths import mm, said_all, square_mm
from corepath.reported import Key, report_keys
from corepath.stackup.stackup import Stackup

__all__ = ["Band", "Columns", "DeckCasting", "Shown", "expected_columns", "notes", "shown_casting"]

Floats = NDArray[np.float64]
Heights = NDArray[np.floating]
Mask = NDArray[np.bool_]

NOT_FILLED = 0.05
"""mm below the deck from which on a casting counts as not filled: as much as the ridges between
finishing lines may stand above the deck."""

# mm between samples along a normal of the outline: finer than the columns, so that none of those
# under the normal is passed over
_FINE = 0.05
# mm between the places along the outline where the width of the band is measured
_STATION = 2.0
# mm between the columns of the expected core
_COARSE = 0.5
# neighbouring stations whose columns together tell where the band ends (see `_width`)
_STATIONS = 5


@dataclass(frozen=True, slots=True)
class Columns:
    """The core after C as columns: places `xs` (nx,), `ys` (ny,), evenly spaced, and the tops of
    wood and casting (ny, nx), mm; `source` says in words where they come from."""

    xs: Floats
    ys: Floats
    wood: Heights
    casting: Heights
    source: str

    @property
    def spacing(self) -> float:
        return float(
            max(np.ptp(self.xs) / (len(self.xs) - 1), np.ptp(self.ys) / (len(self.ys) - 1))
        )

    def at(self, x: Floats, y: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return (iy, ix) of the columns nearest to places x, y of any one shape."""
        ends = ((self.ys, y), (self.xs, x))
        iy, ix = (
            np.clip(np.rint((v - c[0]) / (c[1] - c[0])).astype(np.intp), 0, len(c) - 1)
            for c, v in ends
        )
        return iy, ix


@report_keys(
    "id", Key("footprint", places=1), Key("shows", places=1), Key("not_filled", places=1),
    Key("deepest", places=3),
    Key("at", places=2),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Shown:
    """One casting: areas in mm² of its footprint, of what shows in the deck and of what is not
    filled up to it.

    `deepest` is how far below the deck the lowest unfilled place lies, mm, and `at` that place; 0
    and None where all is filled.
    """

    id: str
    kind: str
    footprint: float
    shows: float
    not_filled: float
    deepest: float
    at: tuple[float, float] | None


@report_keys(
    Key("wanted", places=None),
    Key("least", places=2),
    Key("at", "least_at", 2),
    Key("mean", places=2),
)
@dataclass(frozen=True, slots=True)
class Band:
    """The casting along the edge: places (n, 2) on the outline, and the width that shows inside it,
    (n,) mm."""

    places: Floats
    inside: Floats
    wanted: float

    @property
    def least(self) -> float:
        return float(self.inside.min())

    @property
    def least_at(self) -> tuple[float, float]:
        x, y = self.places[int(np.argmin(np.round(self.inside, 6)))]
        return float(x), float(y)

    @property
    def mean(self) -> float:
        return float(self.inside.mean())


@report_keys(Key("from", "columns.source"), Key("spacing", "columns.spacing"), "band", "castings")
@dataclass(frozen=True, slots=True)
class DeckCasting:
    """The result: band, castings (the groove first), a mask (ny, nx) of what shows, and the depth
    (ny, nx) below the deck, mm, where a casting is not filled (0 elsewhere)."""

    columns: Columns
    band: Band
    castings: tuple[Shown, ...]
    shows: Mask
    depth: Floats


def expected_columns(stack: Stackup, board: Board) -> Columns:
    """Return the core that the stack-up expects, nominal, for the plane that it is judged at."""
    x0, y0, x1, y1 = board.blank.bounds
    xs = np.arange(x0 + _COARSE / 2, x1, _COARSE)
    ys = np.arange(y0 + _COARSE / 2, y1, _COARSE)
    x, y = np.meshgrid(xs, ys)
    wood = board.deck.height(x, y)
    casting = np.full(x.shape, np.nan)
    for one in stack.castings:
        inside = _within(one.casting.area, xs, ys)
        plane = stack.skim.judged_plane
        level = stack.heights.after_skim(plane, one.highest_at) - one.pour.p_expected
        # Resin is level at `level` and cut down to the deck where it stands higher. `wood` still
        # holds the deck's height here; a casting has none.
        casting[inside] = np.minimum(level.nominal, wood[inside])
        wood[inside] = np.nan
    return Columns(xs, ys, wood, casting, "stack-up")


def shown_casting(board: Board, columns: Columns, inside: float) -> DeckCasting:
    """Work out what shows and what is not filled.

    `inside` is the width of the groove within the outline, mm: the band that should show.
    """
    shape = columns.wood.shape
    shows, depth = np.zeros(shape, dtype=np.bool_), np.zeros(shape)
    top = np.fmax(columns.wood, columns.casting)
    low = top < board.deck.lowest - NOT_FILLED
    castings = []
    for casting in board.castings:
        y, x = _window(casting.area, columns.xs, columns.ys)
        # Asking a polygon is slow. Only columns that hold some casting, lie below the lowest deck
        # or are empty can show or lack anything; the rest is wood and is not asked.
        near = np.isfinite(columns.casting[y, x]) | low[y, x] | np.isnan(top[y, x])
        iy, ix = np.nonzero(near)
        held = shapely.contains_xy(casting.area, columns.xs[x][ix], columns.ys[y][iy])
        iy, ix = iy[held] + y.start, ix[held] + x.start
        # An empty column (a pocket never poured, its floor skimmed away) is open down to z = 0.
        below = board.deck.height(columns.xs[ix], columns.ys[iy]) - np.nan_to_num(
            top[iy, ix], nan=0.0
        )
        lacks = below > NOT_FILLED
        depth[iy[lacks], ix[lacks]] = below[lacks]
        seen = ~lacks & (columns.casting[iy, ix] >= top[iy, ix])
        shows[iy[seen], ix[seen]] = True
        castings.append(_shown(casting, columns, (iy, ix), seen, np.where(lacks, below, 0)))
    return DeckCasting(
        columns, _band(board.outline, columns, shows, inside), tuple(castings), shows, depth
    )


def _shown(
    casting: Casting,
    columns: Columns,
    where: tuple[NDArray[np.intp], ...],
    seen: Mask,
    below: Floats,
) -> Shown:
    cell = float((columns.xs[1] - columns.xs[0]) * (columns.ys[1] - columns.ys[0]))
    deepest, at = 0.0, None
    if len(below) and below.max() > 0.0:
        k = int(np.argmax(np.round(below, 6)))
        deepest = float(below[k])
        at = (float(columns.xs[where[1][k]]), float(columns.ys[where[0][k]]))
    return Shown(
        casting.id,
        casting.kind,
        float(casting.area.area),
        cell * int(seen.sum()),
        cell * int((below > 0.0).sum()),
        deepest,
        at,
    )


def _window(area: Polygon, xs: Floats, ys: Floats) -> tuple[slice, slice]:
    """Return the rows and columns that the area's bounding box spans."""
    x0, y0, x1, y1 = area.bounds
    rows = slice(int(np.searchsorted(ys, y0)), int(np.searchsorted(ys, y1, "right")))
    return rows, slice(int(np.searchsorted(xs, x0)), int(np.searchsorted(xs, x1, "right")))


def _within(area: Polygon, xs: Floats, ys: Floats) -> Mask:
    """Return a mask (ny, nx) of the places that lie in the area."""
    mask = np.zeros((len(ys), len(xs)), dtype=np.bool_)
    y, x = _window(area, xs, ys)
    grid = np.meshgrid(xs[x], ys[y])
    mask[y, x] = shapely.contains_xy(area, grid[0], grid[1])
    return mask


def _band(outline: Polygon, columns: Columns, shows: Mask, wanted: float) -> Band:
    """Measure the width that shows, from the outline inwards along its normal."""
    ring = shapely.LinearRing(outline.exterior.coords)
    count = max(int(np.ceil(ring.length / _STATION)), 8)
    along = ring.length * np.arange(count) / count
    corners = shapely.get_coordinates(ring)
    places = places_along(corners, along)
    ahead = places_along(corners, (along + _FINE) % ring.length)
    # Tangent from a place a little ahead, since a polyline has none at its vertices; turned left it
    # points inwards on a ring that runs anticlockwise. 1e-12 guards the division alone.
    tangent = (ahead - places) / np.maximum(np.hypot(*(ahead - places).T), 1e-12)[:, None]
    turn = 1.0 if ring.is_ccw else -1.0
    normal = turn * np.column_stack([-tangent[:, 1], tangent[:, 0]])
    # Two columns beyond the groove's own width are enough to see that the band ends there.
    most = wanted + 2.0 * columns.spacing
    steps = _FINE * (np.arange(int(np.ceil(most / _FINE))) + 0.5)
    points = places[:, None, :] + normal[:, None, :] * steps[None, :, None]
    iy, ix = columns.at(points[..., 0], points[..., 1])
    # A sample takes the value of its nearest column: use that column's distance along the normal,
    # not the sample's.
    inside = (columns.xs[ix] - places[:, None, 0]) * normal[:, None, 0]
    inside += (columns.ys[iy] - places[:, None, 1]) * normal[:, None, 1]
    return Band(places, _width(inside, shows[iy, ix], most), wanted)


def _width(inside: Floats, shows: Mask, most: float) -> Floats:
    """Return where the band ends at each station, (n,) mm inside the outline.

    `inside` (n, m) is how far the columns under a station's normal lie inside the outline, `shows`
    (n, m) whether they show, `most` how far the columns were looked at, mm.
    """
    # The end lies between the last column that shows and the first that does not. One station meets
    # few columns, so an edge that crosses the grid aslant would come out as a saw of the spacing.
    # Its neighbours meet other columns: the least `first` and the largest `last` of _STATIONS of
    # them enclose the edge within a small part of the spacing.
    first = np.where(shows, most, inside).min(axis=1)
    first = _neighbours(first).min(axis=0)
    before = np.where(shows & (inside < first[:, None]), inside, 0.0).max(axis=1)
    last = np.minimum(_neighbours(before).max(axis=0), first)
    return np.asarray(np.where(first >= most, most, np.maximum((last + first) / 2.0, 0.0)))


def _neighbours(values: Floats) -> Floats:
    """Return the values (n,) of each station and of those about it, (_STATIONS, n): the outline is
    closed, so the last ones are neighbours of the first."""
    half = _STATIONS // 2
    return np.array([np.roll(values, aside) for aside in range(-half, half + 1)])


def notes(found: DeckCasting) -> Sequence[str]:
    """Return what to pay attention to, in words; empty where all shows as designed."""
    lines = []
    spare = found.columns.spacing
    if found.band.least < found.band.wanted - spare:
        x, y = found.band.least_at
        lines.append(
            f"the band along the edge is {mm(found.band.least):.1f} at X{mm(x):.0f} Y{mm(y):.0f}, "
            f"not {mm(found.band.wanted):g}"
        )
    for one in found.castings:
        if one.at is not None:
            lines.append(
                f"{one.id} was not filled up to the deck on {square_mm(one.not_filled):.0f~}, "
                f"{mm(one.deepest):.2f} deep "
                f"at X{mm(one.at[0]):.0f} Y{mm(one.at[1]):.0f}: the skin would bridge a void"
            )
    return said_all(lines)
