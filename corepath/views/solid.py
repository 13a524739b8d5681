"""A body of columns as a closed mesh: few triangles where it is even, small ones at walls.

The columns stand on a lattice, each with one solid interval [bottom, top], mm. Cells of the lattice
are joined into squares of up to 64 columns as long as both faces stay within a tolerance of what
the square's triangles show; neighbouring squares differ by one size at most, and a square beside
smaller ones is a fan about its middle that takes in their corners, so that no crack opens (a
restricted quadtree, after von Herzen and Barr, Accurate triangulations of deformed, intersecting
surfaces, Computer Graphics 21, 1987; from memory). The body ends in upright walls half a cell
beyond its last columns, since it ends somewhere between them and the next. Heights are those of
columns: nothing is averaged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["ClosedMesh", "body", "stl"]

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


def body(
    xs: Floats, ys: Floats, bottom: Heights, top: Heights, rim: tuple[float, float],
    tolerance: float,
    largest: int = _LARGEST,
) -> ClosedMesh:  # fmt: skip
    """The mesh of columns at `xs` (nx,), `ys` (ny,) with faces `bottom` and `top` (ny, nx), mm; NaN
    where none stands.

    `rim` is half the length and half the width of the blank: outermost columns reach to it. Away
    from walls the mesh lies within `tolerance` of each column. `largest` is the side of the largest
    square, columns, a power of two. Empty arrays where there is no column.
    """
    x = np.concatenate([[-rim[0]], xs, [rim[0]]])
    y = np.concatenate([[-rim[1]], ys, [rim[1]]])
    low, high = (
        np.pad(np.asarray(face, dtype=np.float64), 1, mode="edge") for face in (bottom, top)
    )
    shape = tuple(-(-(n - 1) // largest) * largest + 1 for n in low.shape)
    low, high = (_filled_up(face, shape) for face in (low, high))
    triangles = _plan(low, high, tolerance, largest)
    flat = (np.isfinite(low) & (high > low)).ravel()
    triangles = _without_pinches(triangles[flat[triangles].all(axis=1)])
    used, faces = np.unique(triangles, return_inverse=True)
    faces = faces.reshape(triangles.shape)
    iy, ix = np.divmod(used, shape[1])
    border = _border(faces)
    corners = _widened(np.column_stack([x[ix], y[iy]]), border, (xs, ys), rim)
    upper = np.column_stack([corners, high.ravel()[used]])
    lower = np.column_stack([corners, low.ravel()[used]])
    a, b = border.T
    n = len(used)
    walls = np.concatenate([np.column_stack([b, a, a + n]), np.column_stack([b, a + n, b + n])])
    return ClosedMesh(
        np.concatenate([upper, lower]), np.concatenate([faces, faces[:, ::-1] + n, walls])
    )


def _widened(
    corners: Floats, border: Ints, columns: tuple[Floats, Floats], rim: tuple[float, float]
) -> Floats:
    """Places in plan with those on the border moved out by half a cell, both edges that meet there
    alike."""
    cell = np.array([np.ptp(c) / max(len(c) - 1, 1) for c in columns])
    along = (corners[border[:, 1]] - corners[border[:, 0]]) / cell
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    before, after = np.zeros_like(corners), np.zeros_like(corners)
    after[border[:, 0]], before[border[:, 1]] = out, out
    moved = (
        (before + after) / np.maximum(1.0 + (before * after).sum(axis=1), 0.5)[:, None] * cell / 2.0
    )
    widened: Floats = np.clip(corners + moved, (-rim[0], -rim[1]), rim)
    return widened


def stl(made: ClosedMesh) -> bytes:
    """The body as a binary STL file, mm; the same body gives the same bytes."""
    import trimesh

    mesh = trimesh.Trimesh(made.vertices, made.faces, process=False)
    data: bytes = trimesh.exchange.stl.export_stl(mesh)
    return data


def _filled_up(face: Floats, shape: tuple[int, ...]) -> Floats:
    """The face with empty columns added, up to a whole number of the largest squares."""
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
        cell = splits[size]
        there = _halves(splits[2 * size]) if size < largest else np.ones_like(cell)
        pieces += _squares(lattice, there & ~cell, cell, size)
    pieces += _smallest(lattice, _halves(splits[2]), solid)
    return np.concatenate(pieces)


def _halves(cells: Mask) -> Mask:
    """Each cell as the four of half its size."""
    halves: Mask = np.repeat(np.repeat(cells, 2, axis=0), 2, axis=1)
    return halves


def _sizes(largest: int) -> tuple[int, ...]:
    return tuple(2**k for k in range(largest.bit_length() - 1, 0, -1))


def _uneven(low: Floats, high: Floats, size: int, tolerance: float) -> Mask:
    """Squares that two triangles, or a fan about the middle, would not show within the
    tolerance."""
    rows, columns = (n // size for n in low.shape)
    weight = np.arange(size + 1) / size
    worst = np.zeros((rows, columns))
    count = np.zeros((rows, columns), dtype=np.int64)
    for face in (low, high):
        corner = face[::size, ::size]
        c00, c01, c10, c11 = corner[:-1, :-1], corner[:-1, 1:], corner[1:, :-1], corner[1:, 1:]
        twist = np.abs(c00 + c11 - c01 - c10) / 4.0
        with np.errstate(invalid="ignore"):
            for i in range(size + 1):
                for j in range(size + 1):
                    column = face[i : i + rows * size : size, j : j + columns * size : size]
                    u, v = weight[j], weight[i]
                    shown = (1 - v) * ((1 - u) * c00 + u * c01) + v * ((1 - u) * c10 + u * c11)
                    worst = np.fmax(worst, np.abs(column - shown) + twist)
                    if face is low:
                        count += np.isfinite(column)
    mixed = (count > 0) & (count < (size + 1) ** 2)
    return mixed | (worst > tolerance)


def _balanced(splits: dict[int, Mask]) -> dict[int, Mask]:
    """The same with squares split so that none lies beside one of less than half its size."""
    for size in sorted(splits)[:-1]:
        near = np.pad(splits[size], 1)
        wide = (
            near[1:-1, 1:-1] | near[:-2, 1:-1] | near[2:, 1:-1] | near[1:-1, :-2] | near[1:-1, 2:]
        )
        rows, columns = splits[2 * size].shape
        splits[2 * size] = splits[2 * size] | wide.reshape(rows, 2, columns, 2).any(axis=(1, 3))
    return splits


def _squares(lattice: Ints, here: Mask, split: Mask, size: int) -> list[Ints]:
    """Triangles of the squares of one size: two, or a fan where a neighbour is split."""
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
    """Two triangles for each single cell, split so that one of them is whole where one corner is
    empty."""
    y, x = np.nonzero(here)
    p00, p01, p11, p10 = lattice[y, x], lattice[y, x + 1], lattice[y + 1, x + 1], lattice[y + 1, x]
    rising = solid[y, x] & solid[y + 1, x + 1]
    pairs = (
        ((p00, p01, p11), (p00, p11, p10), rising),
        ((p00, p01, p10), (p01, p11, p10), ~rising),
    )
    return [np.column_stack(three)[chosen] for one, two, chosen in pairs for three in (one, two)]


def _border(faces: Ints) -> Ints:
    """Edges (k, 2) that one triangle alone has, in its direction."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    ordered = np.sort(edges, axis=1)
    _, place, count = np.unique(ordered, axis=0, return_inverse=True, return_counts=True)
    lone: Ints = edges[count[place.ravel()] == 1]
    return lone


def _without_pinches(faces: Ints) -> Ints:
    """Without the triangles at places where the border touches itself: a closed mesh meets each
    edge twice."""
    while len(faces):
        starts, counts = np.unique(_border(faces)[:, 0], return_counts=True)
        pinched = starts[counts > 1]
        if not len(pinched):
            break
        faces = faces[~np.isin(faces, pinched).any(axis=1)]
    return faces
