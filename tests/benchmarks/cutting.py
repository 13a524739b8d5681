"""The virtual blank cutting the deck program of the sample, against a plain loop over its pieces;
growth; the chain.

The loop takes one straight piece after the other, with numpy over the bounding window of columns,
in one thread like ours. It is exact for flat, ball and bull: over a column that lies u along a
piece of slope m and v beside it, the underside of a cutter whose tip stands q farther along is

    z(u + q) + rise(hypot(v, q)),   rise(d) = c - sqrt(c² - (d - R + c)²) for d > R - c, else 0,

with radius R and corner radius c (flat: 0, ball: R). That is convex in q, so its least on a piece
is where it is least for |q| <= w = sqrt(R² - v²), moved to the nearest end where that lies off the
piece. It is least at

    flat  q = -w (m > 0) or w,      ball  q = -m w / sqrt(1 + m²),
    bull  by halving, where its slope is -m.

Elementary calculus, no source needed. The loop only lowers columns; ours also notes what each
motion removes, how deep it stands and the volume along the way. Both must give the same heights
before either is timed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.cutter import Cutter
from corepath.planning.make import MadeFile, make_files
from corepath.planning.prepare import Prepared, prepare
from corepath.planning.proving.reading import read_files
from corepath.readback.cutting import cut_path
from corepath.stock.material import Grid, Stock
from corepath.stock.path import Path, lay
from tests.benchmarks.table import Figure, Row
from tests.benchmarks.timing import SAMPLE, cpu, cpu_on

__all__ = ["cutting"]

Floats = NDArray[np.float64]

CELL = 0.5
CELLS = (1.0, 0.7, 0.5, 0.35)
"""mm between the columns."""

PARTS = (0.25, 0.5, 1.0)
"""of the program's pieces, from its beginning."""

SHARE = 20
"""The loop cuts one of so many pieces; its time is scaled up."""

CHECKED = 200
"""One of so many pieces is cut with other shapes of cutter to see that both give the same
heights."""

CHORDS = 0.0005  # mm, as the read-back lays arcs
FASTER = 15.0
GROWTH = 1.2
_BALL = Cutter(1, "ball", 20.0, 10.0, 2, 30.0, 40.0)
_BULL = Cutter(1, "bull", 20.0, 4.0, 2, 30.0, 40.0)
_HALVINGS = 45  # of 12 mm: below 1e-12 mm


def cutting() -> Iterator[Row]:
    """All rows of this module; CPU seconds of this process."""
    prepared = prepare(SAMPLE)
    made = make_files(prepared)
    deck = next(one for one in made if one.name == "08-C-deck.nc")
    roughed = {cell: _roughed(prepared, made, cell) for cell in CELLS}
    path = _laid(deck, roughed[CELL].highest())
    yield _against_the_loop(roughed[CELL], path)
    yield _by_path(roughed[CELL], path)
    yield _by_cells(roughed, path)
    texts = {one.name: one.text for one in made}
    figure = Figure.of(cpu(lambda: read_files(prepared, texts), 3))
    yield Row("read-back of board-1280, all files, with other stops and blanks", figure)


def _roughed(prepared: Prepared, made: tuple[MadeFile, ...], cell: float) -> Stock:
    """The blank of set-up C at its thickest, as roughing leaves it."""
    blank, skim = prepared.job.blank, prepared.stackup.skim
    assert skim.earliest is not None
    stock = Stock(blank.length, blank.width, skim.planes[skim.earliest - 1], cell)
    for one in made:
        if one.work.name == "deck-rough":
            cut_path(stock, _laid(one, stock.highest()))
    return stock


def _laid(made: MadeFile, highest: float) -> Path:
    zero = made.program.zero
    found = Findings()
    path = lay(
        read_program(made.text, made.name),
        (zero.x, zero.y, zero.z),
        made.program.cutter,
        highest,
        CHORDS,
        found,
    )
    assert not len(found), f"{made.name}: {found}"
    return path


def _every(path: Path, share: int) -> Path:
    return replace(path, pieces=path.pieces.pick(np.arange(len(path.pieces)) % share == 0))


def _head(path: Path, part: float) -> Path:
    return replace(
        path, pieces=path.pieces.pick(np.arange(len(path.pieces)) < part * len(path.pieces))
    )


def _against_the_loop(start: Stock, path: Path) -> Row:
    """Our CPU time for all pieces over that of the loop, scaled up from a share of them."""
    for cutter in (_BALL, _BULL):
        _same(start, replace(_every(path, CHECKED), cutter=cutter))
    some = _every(path, SHARE)
    _same(start, some)
    ours = cpu_on(start.copy, partial(cut_path, path=path))
    theirs = cpu_on(start.top.copy, partial(plain_loop, start.grid, some), 3).times(
        len(path.pieces) / len(some.pieces)
    )
    name = f"cutting {len(path.pieces):,} pieces of 08-C-deck at {CELL:g} mm"
    baseline = f"numpy loop over pieces, 1 of {SHARE}, scaled up"
    return Row.against(
        name, ours, baseline, theirs, 1.0 / FASTER, f"{theirs.best / ours.best:.1f} times as fast"
    )


def _same(start: Stock, path: Path) -> None:
    """Both give the same heights, to the step of single precision; the path must cut."""
    stock = start.copy()
    cut_path(stock, path)
    assert (stock.top < start.top).mean() > 0.01, "nothing to compare"
    top = start.top.copy()
    plain_loop(start.grid, path, top)
    np.testing.assert_allclose(stock.top, top, rtol=0.0, atol=5e-6)


def _by_path(start: Stock, path: Path) -> Row:
    heads = [_head(path, part) for part in PARTS]
    spent = [(len(one.pieces), cpu_on(start.copy, partial(cut_path, path=one))) for one in heads]
    return Row.growing("cutting the deck, by length of path", "pieces", spent, GROWTH)


def _by_cells(starts: dict[float, Stock], path: Path) -> Row:
    spent = [
        (one.top.size, cpu_on(one.copy, partial(cut_path, path=path), 3)) for one in starts.values()
    ]
    return Row.growing(
        "cutting the deck, by columns",
        "columns",
        spent,
        GROWTH,
        f"{CELLS[0]:g} to {CELLS[-1]:g} mm",
    )


def plain_loop(grid: Grid, path: Path, top: NDArray[np.float32]) -> None:
    """Lower the heights of the columns along all pieces of a path."""
    highest, radius = float(top.max()), path.cutter.radius
    xs, ys = grid.xs, grid.ys
    for (ax, ay, az), (bx, by, bz) in zip(
        path.pieces.lower.tolist(), path.pieces.upper.tolist(), strict=True
    ):
        if min(az, bz) >= highest:
            continue
        x_low, x_high = np.searchsorted(xs, (min(ax, bx) - radius, max(ax, bx) + radius))
        y_low, y_high = np.searchsorted(ys, (min(ay, by) - radius, max(ay, by) + radius))
        if x_low == x_high or y_low == y_high:
            continue
        window = top[y_low:y_high, x_low:x_high]
        dx, dy = bx - ax, by - ay
        length = float(np.hypot(dx, dy))
        ux, uy = (dx / length, dy / length) if length else (1.0, 0.0)
        slope = (bz - az) / length if length else 0.0
        x, y = xs[x_low:x_high] - ax, ys[y_low:y_high, None] - ay
        u, v = x * ux + y * uy, y * ux - x * uy
        at = nearest = np.clip(u, 0.0, length)
        if slope:
            at = np.clip(u + _least(v, slope, path.cutter), 0.0, length)
        under = v * v + (nearest - u) ** 2 <= radius * radius
        z = (az if length else min(az, bz)) + slope * at + _rise(v, at - u, path.cutter)
        np.minimum(window, z, out=window, where=under, casting="same_kind")


def _least(v: Floats, slope: float, cutter: Cutter) -> Floats:
    """How far along from the column the tip stands where the underside over it is least, on a
    slope."""
    radius, corner = cutter.radius, cutter.corner_radius
    w = np.sqrt(np.maximum(radius * radius - v * v, 0.0))
    if corner == 0.0:
        return np.asarray(-np.sign(slope) * w)
    if corner == radius:
        return np.asarray(-slope / np.hypot(1.0, slope) * w)
    low, high = np.sqrt(np.maximum((radius - corner) ** 2 - v * v, 0.0)), w
    for _ in range(_HALVINGS):
        q = 0.5 * (low + high)
        d = np.hypot(v, q)
        e = d - (radius - corner)
        steep = e * q > abs(slope) * d * np.sqrt(np.maximum(corner * corner - e * e, 0.0))
        low, high = np.where(steep, low, q), np.where(steep, q, high)
    return np.asarray(-np.sign(slope) * 0.5 * (low + high))


def _rise(v: Floats, q: Floats, cutter: Cutter) -> Floats | float:
    """Height of the underside above the tip, over a column v beside it and q along."""
    corner = cutter.corner_radius
    if corner == 0.0:
        return 0.0
    e = np.clip(np.hypot(v, q) - (cutter.radius - corner), 0.0, corner)
    return corner - np.sqrt(corner * corner - e * e)
