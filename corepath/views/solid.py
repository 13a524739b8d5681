"""A height map with a lower and an upper face as a closed mesh: few triangles where it is even,
small ones at walls.

The columns stand on a lattice, each with one solid interval [bottom, top], mm. Cells of the lattice
are joined into squares of up to 64 columns as long as both faces stay within a tolerance of the
square's triangles. Neighbouring squares differ by one size at most, and a square beside smaller
ones is a fan of triangles about its middle that has their corners as vertices, so that no crack
opens (a restricted quadtree, after von Herzen and Barr, Accurate triangulations of deformed,
intersecting surfaces, Computer Graphics 21, 1987; from memory). The body ends in vertical walls
half a cell beyond its last columns, since its true end is somewhere between them and the next.
Heights are those of columns: nothing is averaged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["ClosedMesh", "HeightMap", "body", "stl"]

_LARGEST = 64

Floats = NDArray[np.float64]
Heights = NDArray[np.floating]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ClosedMesh:
    """A closed mesh: `vertices` (n, 3), mm, and `faces` (m, 3), counter-clockwise seen from
    outside."""

    vertices: Floats
    faces: Ints

    @property
    def volume(self) -> float:
        """Enclosed volume, mm³ (divergence theorem)."""
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(3))
        return float((a * np.cross(b, c)).sum() / 6.0)


@dataclass(frozen=True, slots=True)
class HeightMap:
    """Columns at `xs` (nx,), `ys` (ny,) from `bottom` to `top` (ny, nx), mm; NaN where there is
    none."""

    xs: Floats
    ys: Floats
    bottom: Heights
    top: Heights


def body(
    columns: HeightMap, rim: tuple[float, float], tolerance: float, largest: int = _LARGEST
) -> ClosedMesh:
    """Return the mesh of the columns.

    `rim` is half the length and half the width of the blank: the outermost columns reach to it.
    Away from walls the mesh lies within `tolerance` of each column. `largest` is the side of the
    largest square in columns, a power of two. Empty arrays where there is no column.
    """
    # A copy of the outermost columns on the rim of the blank, half a cell farther out, lets the
    # body reach the blank's own edges exactly.
    xs, ys = columns.xs, columns.ys
    x = np.concatenate([[-rim[0]], xs, [rim[0]]])
    y = np.concatenate([[-rim[1]], ys, [rim[1]]])
    low, high = (
        np.pad(np.asarray(face, dtype=np.float64), 1, mode="edge")
        for face in (columns.bottom, columns.top)
    )
    # Rounded up to whole largest squares, plus the closing row: squares share their border nodes.
    shape = tuple(-(-(n - 1) // largest) * largest + 1 for n in low.shape)
    low, high = (_filled_up(face, shape) for face in (low, high))
    triangles = _plan(low, high, tolerance, largest)
    # A column cut down to nothing would give two coinciding faces, which is no body.
    flat = (np.isfinite(low) & (high > low)).ravel()
    triangles = _without_pinches(triangles[flat[triangles].all(axis=1)])
    used, faces = np.unique(triangles, return_inverse=True)
    faces = faces.reshape(triangles.shape)
    iy, ix = np.divmod(used, shape[1])
    border = _border(faces)
    corners = _widened(np.column_stack([x[ix], y[iy]]), border, (xs, ys), rim)
    upper = np.column_stack([corners, high.ravel()[used]])
    lower = np.column_stack([corners, low.ravel()[used]])
    # The lower face is the upper one turned over (vertex k and k + n lie above one another); each
    # border edge, counter-clockwise from above, gets a wall of two triangles that face outwards.
    a, b = border.T
    n = len(used)
    walls = np.concatenate([np.column_stack([b, a, a + n]), np.column_stack([b, a + n, b + n])])
    return ClosedMesh(
        np.concatenate([upper, lower]), np.concatenate([faces, faces[:, ::-1] + n, walls])
    )


def _widened(
    corners: Floats, border: Ints, columns: tuple[Floats, Floats], rim: tuple[float, float]
) -> Floats:
    """Return the places in plan (n, 2), those on the border moved out by half a cell along both
    edges that meet there."""
    # In units of cells a border edge runs along an axis or a diagonal, so that its normal `out` has
    # the same length in X and Y whatever the pitch of the lattice.
    cell = np.array([np.ptp(c) / max(len(c) - 1, 1) for c in columns])
    along = (corners[border[:, 1]] - corners[border[:, 0]]) / cell
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    before, after = np.zeros_like(corners), np.zeros_like(corners)
    after[border[:, 0]], before[border[:, 1]] = out, out
    # The mitre of two normals m, n is (m + n) / (1 + m·n). The lower limit 0.5 keeps the vertex of
    # a very sharp corner, where the denominator tends to 0, from shooting out.
    moved = (
        (before + after) / np.maximum(1.0 + (before * after).sum(axis=1), 0.5)[:, None] * cell / 2.0
    )
    widened: Floats = np.clip(corners + moved, (-rim[0], -rim[1]), rim)
    return widened


def stl(made: ClosedMesh) -> bytes:
    """Return the body as a binary STL file, mm; the same body gives the same bytes."""
    import trimesh

    mesh = trimesh.Trimesh(made.vertices, made.faces, process=False)
    data: bytes = trimesh.exchange.stl.export_stl(mesh)
    return data


def _filled_up(face: Floats, shape: tuple[int, ...]) -> Floats:
    """Return the face with empty (NaN) columns added up to the given shape."""
    out = np.full(shape, np.nan)
    out[: face.shape[0], : face.shape[1]] = face
    return out


def _plan(low: Floats, high: Floats, tolerance: float, largest: int) -> Ints:
    """Triangles in plan (m, 3), indices into the flat lattice, counter-clockwise."""
    splits = _balanced({size: _uneven(low, high, size, tolerance) for size in _sizes(largest)})
    lattice = np.arange(low.size).reshape(low.shape)
    solid = np.isfinite(low)
    pieces = []
    for size in _sizes(largest):
        # Squares of this size are drawn where the next larger one is split and this one is not.
        cell = splits[size]
        there = _halves(splits[2 * size]) if size < largest else np.ones_like(cell)
        pieces += _squares(lattice, there & ~cell, cell, size)
    pieces += _smallest(lattice, _halves(splits[2]), solid)
    return np.concatenate(pieces)


def _halves(cells: Mask) -> Mask:
    """Return the mask with each cell as its four cells of half the size."""
    halves: Mask = np.repeat(np.repeat(cells, 2, axis=0), 2, axis=1)
    return halves


def _sizes(largest: int) -> tuple[int, ...]:
    return tuple(2**k for k in range(largest.bit_length() - 1, 0, -1))


def _uneven(low: Floats, high: Floats, size: int, tolerance: float) -> Mask:
    """Return which squares of `size` columns must be split, since two triangles, or a fan about the
    middle, would not lie within the tolerance."""
    rows, columns = (n // size for n in low.shape)
    weight = np.arange(size + 1) / size
    worst = np.zeros((rows, columns))
    count = np.zeros((rows, columns), dtype=np.int64)
    for face in (low, high):
        corner = face[::size, ::size]
        c00, c01, c10, c11 = corner[:-1, :-1], corner[:-1, 1:], corner[1:, :-1], corner[1:, 1:]
        # Two triangles differ from the bilinear patch of the four corners by at most a quarter of
        # its twist, in the middle of the diagonal: added to the patch's error below.
        twist = np.abs(c00 + c11 - c01 - c10) / 4.0
        with np.errstate(invalid="ignore"):
            for i in range(size + 1):
                for j in range(size + 1):
                    column = face[i : i + rows * size : size, j : j + columns * size : size]
                    u, v = weight[j], weight[i]
                    shown = (1 - v) * ((1 - u) * c00 + u * c01) + v * ((1 - u) * c10 + u * c11)
                    # `fmax` ignores NaN: a square with empty columns is split below in any case.
                    worst = np.fmax(worst, np.abs(column - shown) + twist)
                    if face is low:
                        count += np.isfinite(column)
    # Partly filled squares are split down to single cells, so that walls follow the columns.
    mixed = (count > 0) & (count < (size + 1) ** 2)
    return mixed | (worst > tolerance)


def _balanced(splits: dict[int, Mask]) -> dict[int, Mask]:
    """Split more squares, so that each one lies beside squares of at least half its size.

    A fan takes in one vertex on each side, the middle: it cannot meet still smaller squares.
    """
    # From small to large: a split may force the next larger size, never a smaller one.
    for size in sorted(splits)[:-1]:
        near = np.pad(splits[size], 1)
        wide = (
            near[1:-1, 1:-1] | near[:-2, 1:-1] | near[2:, 1:-1] | near[1:-1, :-2] | near[1:-1, 2:]
        )
        rows, columns = splits[2 * size].shape
        splits[2 * size] = splits[2 * size] | wide.reshape(rows, 2, columns, 2).any(axis=(1, 3))
    return splits


def _squares(lattice: Ints, here: Mask, split: Mask, size: int) -> list[Ints]:
    """Return the triangles of the squares of one size: two each, or a fan where a neighbour is
    split."""
    j, i = np.nonzero(here)
    y, x, half = j * size, i * size, size // 2
    near = np.pad(split, 1)
    south, north = near[:-2, 1:-1][j, i], near[2:, 1:-1][j, i]
    west, east = near[1:-1, :-2][j, i], near[1:-1, 2:][j, i]
    whole = ~(south | north | west | east)
    p00, p01, p11, p10 = (
        lattice[y, x], lattice[y, x + size], lattice[y + size, x + size], lattice[y + size, x],
    )  # fmt: skip
    middle = lattice[y + half, x + half]
    out = [np.column_stack(three)[whole] for three in ((p00, p01, p11), (p00, p11, p10))]
    sides = (
        (south, p00, p01, lattice[y, x + half]),
        (east, p01, p11, lattice[y + half, x + size]),
        (north, p11, p10, lattice[y + size, x + half]),
        (west, p10, p00, lattice[y + half, x]),
    )
    for halved, first, last, between in sides:
        fan, fine = ~whole & ~halved, ~whole & halved
        out.append(np.column_stack((first, last, middle))[fan])
        out += [
            np.column_stack(three)[fine]
            for three in ((first, between, middle), (between, last, middle))
        ]
    return out


def _smallest(lattice: Ints, here: Mask, solid: Mask) -> list[Ints]:
    """Return two triangles for each single cell, divided so that one of them remains where one
    corner is empty."""
    y, x = np.nonzero(here)
    p00, p01, p11, p10 = lattice[y, x], lattice[y, x + 1], lattice[y + 1, x + 1], lattice[y + 1, x]
    rising = solid[y, x] & solid[y + 1, x + 1]
    pairs = (
        ((p00, p01, p11), (p00, p11, p10), rising),
        ((p00, p01, p10), (p01, p11, p10), ~rising),
    )
    return [np.column_stack(three)[chosen] for one, two, chosen in pairs for three in (one, two)]


def _border(faces: Ints) -> Ints:
    """Return the edges (k, 2) that belong to one triangle only, in its direction."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    ordered = np.sort(edges, axis=1)
    # One number an edge: of whole rows numpy finds the different ones five times as slowly.
    number = ordered[:, 0] * (int(faces.max(initial=0)) + 1) + ordered[:, 1]
    _, place, count = np.unique(number, return_inverse=True, return_counts=True)
    lone: Ints = edges[count[place] == 1]
    return lone


def _without_pinches(faces: Ints) -> Ints:
    """Return the faces without those at vertices where the border touches itself.

    There the walls of two corners would share an edge, and in a closed mesh each edge belongs to
    exactly two faces.
    """
    # Repeated, since taking triangles away makes a new border.
    while len(faces):
        starts, counts = np.unique(_border(faces)[:, 0], return_counts=True)
        pinched = starts[counts > 1]
        if not len(pinched):
            break
        faces = faces[~np.isin(faces, pinched).any(axis=1)]
    return faces
