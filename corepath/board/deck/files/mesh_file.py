"""The deck from a mesh: an STL, OBJ or PLY file, placed in the board frame, its upper surface as
heights, mm.

Seen from above, the *top* at a place is the highest of the faces there. It must be a function of x
and y inside the outline: a *fold* (more than one upper surface over one another, an overhang, a
vertical step) is refused with its place, and so is a place where there is no top. Holes elsewhere
and normals that look the wrong way change no height; they are cautions.
"""

from __future__ import annotations

import io
import logging
import math
import warnings
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.deck.files.file_bytes import MM, BoardNodes, FileHeights
from corepath.board.deck.files.mesh_rays import Cells, cells_of, look_down
from corepath.errors import Fault, InputError
from corepath.job.model import DeckSection
from corepath.lengths import mm, square_mm

__all__ = ["mesh_heights", "placed_faces"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FARTHEST = 1e6  # mm: no board is a kilometre long, so the units are wrong
_ASIDE = 0.02  # mm beside an edge where the ground is probed
_STEP = 0.05  # mm: the ground beside an edge that lies deeper than this is a step, not a seam


def mesh_heights(data: bytes, name: str, deck: DeckSection, nodes: BoardNodes) -> FileHeights:
    """Returns the tops at the `nodes` inside the outline, NaN elsewhere.

    Raises InputError where the bytes are no mesh, or the mesh does not cover the outline, folds or
    has a step in it.
    """
    faces, indices = placed_faces(data, name, deck)
    cells = cells_of(faces)
    i, j = np.nonzero(nodes.inside)
    x, y = nodes.xs[i], nodes.ys[j]
    top, second, layers, face = look_down(cells, x, y)
    faults = _uncovered(name, x, y, top) + _layers(name, x, y, top, second, layers)
    # nodes 1 mm apart miss a narrow step or overhang, so the mesh's own edges are looked at as well
    faults = faults or _edges(name, faces, indices, cells, nodes.outline)
    if faults:
        raise InputError(faults)
    heights = np.full(nodes.inside.shape, math.nan)
    heights[i, j] = top
    return FileHeights(heights, tuple(_cautions(name, faces, indices, face)))


def placed_faces(data: bytes, name: str, deck: DeckSection) -> tuple[Floats, Ints]:
    """Returns the corners (n, 3, 3) of the faces in the board frame, mm, and the numbers (n, 3) of
    their corners, equal where they coincide. Raises InputError where the file holds no mesh."""
    corners, indices = _loaded(data, name)
    scale = MM[deck.mesh_units or "mm"]
    if np.abs(corners).max() * scale > _FARTHEST:
        allowed = (
            f"at most {mm(_FARTHEST):.0f~}; mesh_units such that the mesh has the board's size"
        )
        raise InputError([_fault(f"{name} has corners too far away to be meant", allowed)])
    turn = math.radians(deck.mesh_angle)
    c, s = math.cos(turn), math.sin(turn)
    x, y, z = (corners * scale).T
    placed = np.column_stack([c * x - s * y, s * x + c * y, z]) + np.array(deck.mesh_at)
    # Corners that round to the same ten-millionth of the mesh's size are one: STL files hold each
    # corner once for each face, in numbers of about seven digits.
    grain = max(float(np.ptp(placed, axis=0).max()) * 1e-7, 1e-6)
    _, number = np.unique(np.round(placed / grain).astype(np.int64), axis=0, return_inverse=True)
    numbered = number.reshape(-1).astype(np.int64)[indices]
    whole = (
        (numbered[:, 0] != numbered[:, 1])
        & (numbered[:, 1] != numbered[:, 2])
        & (numbered[:, 2] != numbered[:, 0])
    )
    if not whole.any():
        raise InputError([_fault(f"{name} holds no faces: each is a line or a point")])
    return placed[indices[whole]], numbered[whole]


def _loaded(data: bytes, name: str) -> tuple[Floats, Ints]:
    import trimesh

    kind = name.rpartition(".")[2].lower()
    _refuse_torn(data, name, kind)
    log = logging.getLogger("trimesh")
    log.addHandler(logging.NullHandler())  # its modules have loggers of their own below this one
    told, log.propagate = log.propagate, False
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            loaded: Any = trimesh.load(
                io.BytesIO(data), file_type=kind, force="mesh", process=False
            )
        corners = np.asarray(loaded.vertices, dtype=np.float64)
        indices = np.asarray(loaded.faces, dtype=np.int64)
    # content that it cannot make out it takes for text, and imports a package to guess the encoding
    except ImportError:
        says = f"{name} cannot be read as a mesh: its content is not what its ending says"
        raise InputError([_fault(says)]) from None
    except Exception as error:  # the reader raises whatever its parsing meets
        raise InputError(
            [_fault(f"{name} cannot be read as a mesh: {_first_line(error)}")]
        ) from None
    finally:
        log.propagate = told
    if not len(corners) or indices.ndim != 2 or not len(indices):
        raise InputError([_fault(f"{name} holds no faces")])
    if corners.shape[1:] != (3,) or indices.shape[1:] != (3,):
        raise InputError(
            [
                _fault(
                    f"{name} is damaged: corners without x, y and z, or faces without three corners"
                )
            ]
        )
    if indices.min() < 0 or indices.max() >= len(corners) or not np.isfinite(corners).all():
        raise InputError(
            [_fault(f"{name} is damaged: faces without corners, or corners that are no numbers")]
        )
    return corners, indices


def _refuse_torn(data: bytes, name: str, kind: str) -> None:
    """Refuse a binary STL that does not hold the faces that it counts: 84 bytes of head, 50 for
    each face."""
    # "facet" tells a text STL; its first word does not, since a binary head may hold any text
    if kind != "stl" or len(data) < 84 or b"facet" in data[:4096]:
        return
    count = int.from_bytes(data[80:84], "little")
    if len(data) != 84 + 50 * count:
        says = (
            f"{name} is damaged: {count} faces by its head take {84 + 50 * count} bytes, it holds "
            f"{len(data)}"
        )
        raise InputError([_fault(says, "the whole file")])


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:80]


def _fault(message: str, allowed: str = "") -> Fault:
    return Fault("deck.mesh", message, allowed=allowed)


def _uncovered(name: str, x: Floats, y: Floats, top: Floats) -> list[Fault]:
    gap = np.isnan(top)
    if not gap.any():
        return []
    k = int(np.argmax(gap))
    says = (
        f"{name} does not cover the board: no face over {square_mm(float(gap.sum())):.0f~} of it, "
        f"first at ({mm(float(x[k])):g}, {mm(float(y[k])):g})"
    )
    spans = "mesh_at, mesh_angle and mesh_units such that the mesh covers the outline"
    return [_fault(says, spans)]


def _layers(
    name: str, x: Floats, y: Floats, top: Floats, second: Floats, layers: Ints
) -> list[Fault]:
    # a closed mesh has two surfaces under each place, its top and its underside
    folded = layers > 2
    if not folded.any():
        return []
    k = int(np.argmax(folded))
    where = (
        f"({mm(float(x[k])):g}, {mm(float(y[k])):g}), at {mm(float(top[k])):.2f} and below it at "
        f"{mm(float(second[k])):.2f~}"
    )
    says = f"{name} folds: more than one upper surface at {where}"
    return [_fault(says, "one upper surface seen from above, without overhangs")]


def _edges(name: str, faces: Floats, indices: Ints, cells: Cells, outline: Polygon) -> list[Fault]:
    """Edges seen from above, inside the outline, beside which there is nothing or the ground falls
    away."""
    ends, beyond = _silhouette(faces, indices)
    if not len(ends):
        return []
    middle = ends.mean(axis=1)
    within = shapely.contains_xy(outline.buffer(-0.5), middle[:, 0], middle[:, 1])
    # Half a millimetre within the outline, since a mesh may end there. An edge counts if it lies on
    # the top, and if a probe just beyond it finds nothing or finds the ground well below.
    ends, middle, beyond = ends[within], middle[within], beyond[within]
    top = look_down(cells, middle[:, 0], middle[:, 1])[0]
    probe = middle[:, :2] + _ASIDE * beyond
    aside = look_down(cells, probe[:, 0], probe[:, 1])[0]
    # a face as steep as 60 degrees may fall by twice the step to the side
    falls = np.isnan(aside) | (middle[:, 2] - aside > _STEP + 2.0 * _ASIDE)
    seen = (middle[:, 2] > top - 1e-3) & falls
    if not seen.any():
        return []
    k = int(np.argmax(seen))
    x, y, z = middle[k]
    how = "nothing" if np.isnan(aside[k]) else f"the ground {mm(float(z - aside[k])):.2f~} below"
    says = (
        f"{name} has an overhang, a vertical step or a hole at ({mm(float(x)):.1f}, "
        f"{mm(float(y)):.1f}): beside its edge at {mm(float(z)):.2f} is {how}"
    )
    return [_fault(says, "one upper surface seen from above, closed, without overhangs or steps")]


def _silhouette(faces: Floats, indices: Ints) -> tuple[Floats, Floats]:
    """Edges (k, 2, 3) whose faces do not lie on both sides of them as seen from above, and the way
    (k, 2) to the side without a face."""
    # Each edge once for each face, with the side on which that face's third corner lies. Sides are
    # told in the direction from the lower to the higher corner number, which both faces share.
    a = np.concatenate([indices[:, [0, 1]], indices[:, [1, 2]], indices[:, [2, 0]]])
    owner = np.tile(np.arange(len(faces)), 3)
    first = np.repeat([0, 1, 2], len(faces))
    start, end = faces[owner, first], faces[owner, (first + 1) % 3]
    third = faces[owner, (first + 2) % 3]
    along = end[:, :2] - start[:, :2]
    long = np.hypot(along[:, 0], along[:, 1])
    off = third[:, :2] - start[:, :2]
    side = along[:, 0] * off[:, 1] - along[:, 1] * off[:, 0]
    flip = a[:, 0] > a[:, 1]
    side = np.where(flip, -side, side)
    # a face that stands upright lies on neither side
    side = np.where(np.abs(side) <= 1e-9 * np.maximum(long, 1e-12) ** 2, 0.0, side)
    a.sort(axis=1)
    _, number = np.unique(a, axis=0, return_inverse=True)
    number = number.reshape(-1)
    left = np.bincount(number, side > 0.0) > 0
    right = np.bincount(number, side < 0.0) > 0
    # for each edge the first of its faces: written backwards, so that the first is written last
    one = np.zeros(len(left), dtype=np.int64)
    one[number[::-1]] = np.arange(len(number))[::-1]
    lone = np.flatnonzero((left != right) & (long[one] > 1e-9))
    pick = one[lone]
    normal = np.column_stack([-along[pick, 1], along[pick, 0]]) / long[pick, None]
    normal = np.where(flip[pick, None], -normal, normal)
    away = np.where(left[lone, None], -normal, normal)
    return np.stack([start[pick], end[pick]], axis=1), away


def _cautions(name: str, faces: Floats, indices: Ints, face: Ints) -> list[str]:
    found = []
    edges = np.concatenate([indices[:, [0, 1]], indices[:, [1, 2]], indices[:, [2, 0]]])
    forward = edges[:, 0] < edges[:, 1]
    _, number = np.unique(np.sort(edges, axis=1), axis=0, return_inverse=True)
    number = number.reshape(-1)
    count = np.bincount(number)
    lone = count[number] == 1
    if lone.any():
        k = int(np.argmax(lone))
        at = faces[k % len(faces), k // len(faces)]
        found.append(
            f"{name} is not closed: {lone.sum()} edges have one face only, one at "
            f"({mm(float(at[0])):.1f}, {mm(float(at[1])):.1f}); "
            "taken as it lies, since no hole shows inside the outline"
        )
    # two faces that look the same way run along their common edge in opposite directions
    against = (count == 2) & (np.abs(2 * np.bincount(number, forward) - 2) > 0.5)
    seen = np.unique(face[face >= 0])
    a, b, c = (faces[seen, k, :2] for k in range(3))
    up = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    down = int((up < 0.0).sum())
    if down or against.any():
        found.append(
            f"{name} has flipped normals: {down} of the {len(seen)} faces of the deck look down"
            + (
                f", {int(against.sum())} edges join faces that look opposite ways"
                if against.any()
                else ""
            )
            + "; the deck is taken from where the faces lie, not from where they look"
        )
    return found
