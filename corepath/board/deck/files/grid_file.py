"""The deck from a grid of heights: a CSV file of x, y, h, or an NPY file of h, in the board frame,
mm.

Between the values the heights are those of the bicubic spline through them (scipy, FITPACK). A
value that is missing where the board needs it is refused with its place; one that is missing
farther out takes the nearest value that is there.
"""

from __future__ import annotations

import csv
import io
import math
import warnings

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.board.deck.files.file_bytes import MM, BoardNodes, FileHeights
from corepath.errors import Fault, InputError
from corepath.job.model import DeckSection
from corepath.lengths import mm

__all__ = ["grid_heights", "read_grid"]

Floats = NDArray[np.float64]

_KEY = "deck.grid"
_MOST = 30_000_000  # values: 240 MB as 64-bit numbers
_FARTHEST = 1e6  # a height beyond this, in any unit, is none
_COLUMNS = ("x", "y", "h")


def grid_heights(data: bytes, name: str, deck: DeckSection, nodes: BoardNodes) -> FileHeights:
    """Returns the heights at the `nodes` inside the outline, NaN elsewhere.

    Raises InputError where the bytes are no grid, or the grid does not cover the outline or has
    gaps over it.
    """
    from scipy.interpolate import RectBivariateSpline
    from scipy.ndimage import distance_transform_edt

    gx, gy, h = read_grid(data, name, deck)
    left, low, right, high = nodes.outline.bounds
    # mm: a grid that ends just on the outline covers it, whatever its text was rounded to.
    slack = 1e-6
    if (
        gx[0] > left + slack
        or gx[-1] < right - slack
        or gy[0] > low + slack
        or gy[-1] < high - slack
    ):
        spans = (
            f"X {mm(float(gx[0])):g} to {mm(float(gx[-1])):g}, "
            f"Y {mm(float(gy[0])):g} to {mm(float(gy[-1])):g~}"
        )
        needs = (
            f"X {mm(left):.1f} to {mm(right):.1f}, Y {mm(low):.1f} to {mm(high):.1f~}, the outline"
        )
        raise InputError([Fault(_KEY, f"{name} does not cover the board", spans, needs)])
    missing = ~np.isfinite(h)
    if missing.any():
        # Two steps of the grid about the outline: a value there still bends the spline inside. A
        # spline needs every value, so the others take the nearest.
        reach = 2.0 * max(float(np.diff(gx).max()), float(np.diff(gy).max()))
        needed = nodes.outline.buffer(reach)
        i, j = np.nonzero(missing)
        over = shapely.contains_xy(needed, gx[i], gy[j])
        if over.any():
            k = int(np.argmax(over))
            says = (
                f"{name} has a gap: {int(over.sum())} values are missing, first at "
                f"({mm(float(gx[i[k]])):g}, {mm(float(gy[j[k]])):g})"
            )
            raise InputError(
                [Fault(_KEY, says, allowed="a value at each place of the grid over the board")]
            )
        nearest = distance_transform_edt(missing, return_distances=False, return_indices=True)
        h = h[tuple(nearest)]
    # nodes beyond the grid are not inside the outline; clipped, the spline is not asked outside
    spline = RectBivariateSpline(gx, gy, h, kx=3, ky=3, s=0.0)
    xs, ys = np.clip(nodes.xs, gx[0], gx[-1]), np.clip(nodes.ys, gy[0], gy[-1])
    return FileHeights(np.where(nodes.inside, spline(xs, ys), math.nan))


def read_grid(data: bytes, name: str, deck: DeckSection) -> tuple[Floats, Floats, Floats]:
    """Returns the places (n,) along X and (m,) along Y, both ascending, and the heights (n, m), NaN
    where the file has none, all in mm. Raises InputError for what is no grid of 4 by 4 or more."""
    scale = MM[deck.grid_units or "mm"]
    if name.lower().endswith(".npy"):
        h = np.asarray(_npy(data, name) * scale)
        (x0, y0), (dx, dy) = deck.grid_origin or (0.0, 0.0), deck.grid_spacing or (1.0, 1.0)
        gx, gy = x0 + dx * np.arange(h.shape[0]), y0 + dy * np.arange(h.shape[1])
    else:
        gx, gy, h = _lattice(_rows(data, name) * scale, name)
    if min(h.shape) < 4:
        says = f"{name} is too coarse for a cubic: {h.shape[0]} by {h.shape[1]} values"
        raise InputError([Fault(_KEY, says, allowed="4 by 4 or more")])
    return np.asarray(gx), np.asarray(gy), h


def _npy(data: bytes, name: str) -> Floats:
    """The array that the bytes hold, at most as large as they are whatever their head claims;
    nothing is unpickled."""
    # the head is read by numpy but the numbers are taken from the bytes that are there: a head may
    # claim any size, and numpy would reserve it
    stream = io.BytesIO(data)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            version = np.lib.format.read_magic(stream)
            head = (
                np.lib.format.read_array_header_1_0
                if version == (1, 0)
                else np.lib.format.read_array_header_2_0
            )
            shape, columns_first, kind = head(stream)
    # the head is a Python literal: its reader raises whatever that meets
    except Exception as error:
        reason = (str(error).splitlines() or [""])[0] or type(error).__name__
        raise InputError([Fault(_KEY, f"{name} cannot be read as NPY: {reason[:80]}")]) from None
    size = math.prod(shape)
    if len(shape) != 2 or kind.kind not in "fiu" or not 0 < size <= _MOST:
        allowed = "a plain array of numbers, along X by along Y"
        raise InputError(
            [Fault(_KEY, f"{name} holds no grid of heights", f"{shape}"[:80], allowed)]
        )
    body = data[stream.tell() :]
    if len(body) != size * kind.itemsize:
        says = (
            f"{name} is damaged: its head says {size * kind.itemsize} bytes of numbers, it holds "
            f"{len(body)}"
        )
        raise InputError([Fault(_KEY, says, allowed="the whole file")])
    held = np.frombuffer(body, dtype=kind).reshape(shape, order="F" if columns_first else "C")
    with np.errstate(all="ignore"):
        heights = held.astype(np.float64)
    return np.where(np.abs(heights) <= _FARTHEST, heights, math.nan)


def _rows(data: bytes, name: str) -> Floats:
    """(n, 3) of x, y, h as the file has them; an empty cell of h is NaN. Faults name the line."""
    text = data.decode("utf-8-sig", errors="replace")
    lines = [
        (n, line)
        for n, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.startswith("#")
    ]
    # semicolon and tab first: beside them a comma is a decimal mark, which is told as a fault
    delimiter = next((mark for mark in (";", "\t", ",") if lines and mark in lines[0][1]), ",")
    order = [0, 1, 2]
    rows, faults = [], []
    for place, (number, line) in enumerate(lines):
        try:
            cells = [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]
        except csv.Error:
            cells = []
        if place == 0 and sorted(cell.lower() for cell in cells[:3]) == sorted(_COLUMNS):
            order = [[cell.lower() for cell in cells].index(column) for column in _COLUMNS]
            continue
        try:
            if len(cells) != 3:
                raise ValueError
            x, y, h = (cells[k] for k in order)
            rows.append((float(x), float(y), float(h) if h else math.nan))
        except ValueError:
            faults.append(
                Fault(_KEY, "is no row of x, y, h", line[:48], "three numbers", name, number)
            )
            # a file of another kind would fill the screen
            if len(faults) == 20:
                break
    if not rows and not faults:
        faults.append(Fault(_KEY, f"{name} holds no rows", allowed="x, y, h in each"))
    if faults:
        raise InputError(faults)
    return np.array(rows)


def _lattice(rows: Floats, name: str) -> tuple[Floats, Floats, Floats]:
    """The rows as a grid; its places are those that occur, places within a thousandth of the
    spacing being one."""
    if not (np.abs(rows[:, :2]) <= _FARTHEST).all():
        says = f"{name} has places that are no numbers, or too far away to be meant"
        raise InputError([Fault(_KEY, says, allowed="x and y in each row")])
    # Scattered points have as many x and y as rows, and their grid would have rows² places: sixteen
    # times as many places as rows leave room for a grid with large gaps.
    (gx, i), (gy, j) = _places(rows[:, 0]), _places(rows[:, 1])
    if len(gx) * len(gy) > min(_MOST, 16 * len(rows) + 64):
        says = (
            f"{name} is no grid: {len(rows)} rows at {len(gx)} different x and {len(gy)} "
            "different y"
        )
        raise InputError(
            [
                Fault(
                    _KEY,
                    says,
                    allowed="the same x in each row of the grid, the same y in each column",
                )
            ]
        )
    flat = i * len(gy) + j
    order = np.argsort(flat, kind="stable")
    twice = np.flatnonzero(np.diff(flat[order]) == 0)
    if len(twice):
        x, y = rows[order[twice[0]], :2]
        raise InputError(
            [
                Fault(
                    _KEY,
                    f"{name} has two values at ({mm(x):g}, {mm(y):g})",
                    allowed="one at each place",
                )
            ]
        )
    h = np.full((len(gx), len(gy)), math.nan)
    h[i, j] = np.where(np.abs(rows[:, 2]) <= _FARTHEST, rows[:, 2], math.nan)
    return gx, gy, h


def _places(values: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """The different values, ascending, and which of them each is."""
    # A thousandth of the usual step is what printed figures are off by. The usual step is the
    # median of those above 1e-6, since equal values are the most frequent by far.
    order = np.argsort(values, kind="stable")
    step = np.diff(values[order])
    wide = step[step > 1e-6]
    if not len(wide):
        return values[order[:1]], np.zeros(len(values), dtype=np.int64)
    fresh = np.concatenate([[True], step > 1e-3 * float(np.median(wide))])
    number = np.empty(len(values), dtype=np.int64)
    number[order] = np.cumsum(fresh) - 1
    return values[order][fresh], number
