"""Joining pieces of line, whatever their order and direction, into the one closed loop of an
outline, mm.

Two ends of pieces that lie on each other form a *joint*, and so do ends that meet no other and lie
within the *join* tolerance of each other. A joint of one end is a *gap*, of more than two a
*branch*. The joint stands in the middle of its ends.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.outline.curves import Points, shape_faults, signed_area
from corepath.errors import Fault, InputError
from corepath.geometry.polylines import length
from corepath.lengths import UNIT, mm

__all__ = ["OutlinePiece", "close_loop"]

KEY = "outline.dxf"
_MOST = 10  # faults of a kind that are told; more would hide the first
SAME_PLACE = 1e-3
"""Ends this close, mm, are drawn on each other: a drawing rounds to three decimals at least."""
MOST_NEAR = 50
"""Ends within the tolerance of one end, on average; two meet in a joint that is drawn well."""


@dataclass(frozen=True, slots=True)
class OutlinePiece:
    """One line of `points` (n, 2), mm, `closed` or open, with the handle and type of its entity."""

    points: Points
    closed: bool
    handle: str
    kind: str

    @property
    def name(self) -> str:
        return f"{self.kind} #{self.handle}"


End = tuple[int, int]
"""A piece and which of its ends: 0 its first point, -1 its last."""


def close_loop(pieces: list[OutlinePiece], join: float, name: str) -> Polygon:
    """Returns the one closed loop that `pieces` make, counter-clockwise, mm. Ends within `join` mm
    are joined; `name` is the file's, for the messages.

    Raises InputError with all gaps, branches, further loops and crossings, each with coordinates in
    mm.
    """
    loops = [(piece.points, [piece]) for piece in pieces if piece.closed]
    joints = _joints([piece for piece in pieces if not piece.closed], join)
    if joints.faults:
        raise InputError(
            Fault(KEY, f"{name}: {text}", allowed=allowed) for text, allowed in joints.faults
        )
    loops += _walk(joints)
    if len(loops) != 1:
        raise InputError([_too_many(loops, name)])
    ring, members = loops[0]
    ring = ring[np.any(ring != np.roll(ring, 1, axis=0), axis=1)]
    faults = shape_faults(KEY, ring, f"{name}: the outline of {_names(members)}")
    if faults:
        raise InputError(faults)
    return Polygon(ring if signed_area(ring) > 0 else ring[::-1])


def _names(pieces: list[OutlinePiece], most: int = 4) -> str:
    text = ", ".join(piece.name for piece in pieces[:most])
    return text + (f" and {len(pieces) - most} more" if len(pieces) > most else "")


def _too_many(loops: list[tuple[Points, list[OutlinePiece]]], name: str) -> Fault:
    if not loops:
        return Fault(KEY, f"{name}: the pieces make no closed loop")
    places = []
    for ring, members in loops[:_MOST]:
        left, low = ring.min(axis=0)
        right, high = ring.max(axis=0)
        places.append(
            f"X {mm(left):.2f} to {mm(right):.2f}, Y {mm(low):.2f} to {mm(high):.2f~} "
            f"({_names(members, 2)})"
        )
    more = f"; and {len(loops) - _MOST} more" if len(loops) > _MOST else ""
    says = f"{name}: {len(loops)} closed loops: {'; '.join(places)}{more}"
    return Fault(KEY, says, allowed="one loop; put the others on another layer")


@dataclass(frozen=True, slots=True)
class _Joints:
    """Open pieces, the joint (index into `places`) of either end of each, and what is wrong with
    them."""

    pieces: list[OutlinePiece]
    joint: dict[End, int]
    ends: dict[int, list[End]]
    places: dict[int, Points]
    faults: list[tuple[str, str]]


def _joints(pieces: list[OutlinePiece], join: float) -> _Joints:
    ends: list[End] = [(i, side) for i in range(len(pieces)) for side in (0, -1)]
    if not ends:
        return _Joints([], {}, {}, {}, [])
    at = np.array([pieces[i].points[side] for i, side in ends])
    if _crowded(at, join):
        says = f"most of its ends lie within outline.join, {mm(join):g~}, of many others"
        return _Joints(
            pieces, {}, {}, {}, [(says, "lines longer than outline.join, each drawn once")]
        )
    group = _groups(at, join)
    if (strung := _strung_out(at, group, join)) is not None:
        return _Joints(pieces, {}, {}, {}, [strung])
    # A piece no longer than the tolerance closes into its own joint: the joint stays, the piece
    # goes.
    closing = (i for i in range(len(pieces)) if group[2 * i] == group[2 * i + 1])
    # Longer than twice the tolerance it is a loop of its own that was drawn open by a hair.
    short = {i for i in closing if length(pieces[i].points) <= 2.0 * join}
    joint = {end: int(group[k]) for k, end in enumerate(ends) if end[0] not in short}
    members: dict[int, list[End]] = defaultdict(list)
    for end, g in joint.items():
        members[g].append(end)
    joints = _Joints(pieces, joint, dict(members), _means(at, group), [])
    joints.faults.extend(_twice([p for i, p in enumerate(pieces) if i not in short]))
    joints.faults.extend(_loose(joints, at, group, join))
    return joints


def _means(at: Points, group: NDArray[np.int64]) -> dict[int, Points]:
    count = np.bincount(group)
    x, y = np.bincount(group, at[:, 0]) / count, np.bincount(group, at[:, 1]) / count
    return {g: np.array([x[g], y[g]]) for g in range(len(count))}


def _crowded(at: Points, join: float) -> bool:
    """Whether so many ends lie within `join` of each other that no joints can be told apart."""
    from scipy.spatial import cKDTree

    # counted before pairs are listed: of n ends all close together there are n² pairs
    tree = cKDTree(at)
    return int(tree.count_neighbors(tree, join)) > MOST_NEAR * len(at)


def _groups(at: Points, join: float) -> NDArray[np.int64]:
    """Joint number of each end (n, 2): pairs that lie on each other, then all others that lie
    within `join` of each other, or of a third."""
    # A curve may be drawn in lines shorter than `join`: its well-drawn joints must not run into
    # each other, or the whole curve shrinks to one place.
    group = _near(at, min(join, SAME_PLACE))
    loose = np.flatnonzero(np.bincount(group)[group] != 2)
    group[loose] = group.max() + 1 + _near(at[loose], join)
    return np.unique(group, return_inverse=True)[1].astype(np.int64)


def _near(at: Points, reach: float) -> NDArray[np.int64]:
    """Group number of each place: within `reach` of each other, or of a third."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if not len(at):
        return np.empty(0, dtype=np.int64)
    pairs = cKDTree(at).query_pairs(reach, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(at), len(at)))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def _strung_out(at: Points, group: NDArray[np.int64], join: float) -> tuple[str, str] | None:
    """What is wrong where loose ends, each near the next, reach much farther than `join`."""
    means = _means(at, group)
    off = np.hypot(*(at - np.array([means[int(g)] for g in group])).T)
    worst = int(np.argmax(np.round(off, 9)))
    if off[worst] <= 2.0 * join:
        return None
    x, y = at[worst]
    count = int(np.sum(group == group[worst]))
    says = (
        f"{count} loose ends near ({mm(x):.3f}, {mm(y):.3f}) {UNIT} lie one after another, each "
        f"within outline.join, {mm(join):g~}, of the next: no joint can be told"
    )
    return says, "ends that meet, or a smaller outline.join"


def _twice(pieces: list[OutlinePiece]) -> list[tuple[str, str]]:
    """Pieces that lie on each other, drawn in either direction."""
    seen: dict[bytes, OutlinePiece] = {}
    found = []
    for piece in pieces:
        points = np.round(piece.points, 4) + 0.0
        key = min(points.tobytes(), np.ascontiguousarray(points[::-1]).tobytes())
        if key in seen:
            x, y = points[0]
            names = f"{seen[key].name} and {piece.name}"
            says = f"drawn twice from ({mm(x):.3f}, {mm(y):.3f}) {UNIT}: {names}"
            found.append((says, "each line once"))
        seen.setdefault(key, piece)
    return found[:_MOST]


def _loose(
    joints: _Joints, at: Points, group: NDArray[np.int64], join: float
) -> list[tuple[str, str]]:
    found = []
    for g in sorted(joints.ends):
        ends = joints.ends[g]
        x, y = joints.places[g]
        names = ", ".join(joints.pieces[i].name for i, _ in ends[:5])
        if len(ends) == 1:
            # bounds the search where thousands of ends are loose; ten faults are told anyway
            others = [h for h in sorted(joints.ends) if h != g and len(joints.ends[h]) == 1][:2000]
            text = f"gap at ({mm(x):.3f}, {mm(y):.3f}) {UNIT}, at the end of {names}"
            if others:
                gaps = [float(np.hypot(*(joints.places[h] - joints.places[g]))) for h in others]
                k = int(np.argmin(np.round(gaps, 6)))
                u, v = joints.places[others[k]]
                text += (
                    f"; the nearest other loose end lies {mm(gaps[k]):.3f~} off at "
                    f"({mm(u):.3f}, {mm(v):.3f})"
                )
            found.append((text, f"ends within outline.join {mm(join):g~}"))
        elif len(ends) > 2:
            says = f"branch at ({mm(x):.3f}, {mm(y):.3f}) {UNIT}: {len(ends)} ends meet, of {names}"
            found.append((says, "two ends at each joint"))
        if len(found) == _MOST:
            break
    return found


def _walk(joints: _Joints) -> list[tuple[Points, list[OutlinePiece]]]:
    """Loops of pieces, each from its first piece on; every joint has two ends."""
    # From each piece to the other end at the joint that it leads to, until one is met again. The
    # points at joints are replaced by the joint's place, so that both pieces meet there exactly.
    used: set[int] = set()
    loops = []
    for first in sorted({i for i, _ in joints.joint}):
        if first in used:
            continue
        parts, members, end = [], [], (first, 0)
        while end[0] not in used:
            i, side = end
            used.add(i)
            members.append(joints.pieces[i])
            points = joints.pieces[i].points if side == 0 else joints.pieces[i].points[::-1]
            start, leaves = joints.joint[end], (i, -1 if side == 0 else 0)
            parts.append(np.vstack([joints.places[start], points[1:-1]]))
            a, b = joints.ends[joints.joint[leaves]]
            end = b if a == leaves else a
        loops.append((np.vstack(parts), members))
    return loops
