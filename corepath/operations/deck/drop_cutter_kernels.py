"""Compiled kernels of the surfacing paths: the height of a cutter's tip over a surface, and chords.

The surface is that of `corepath.board.deck.spline_kernels`, which evaluates it: `coef` and `frame`
are its own. The end of a cutter is a `CutterProfile`, z(r); its flat part is called the *land*
here. Its tip stands at the largest of h(p + q) − z(|q|) over the disc. All in mm; pure elementary
geometry, no source needed.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.spline_kernels import height_at, shape_at, slope_at
from corepath.motion.compiled import njit
from corepath.motion.cutter_profile import CutterProfile
from corepath.motion.cutter_profile_kernels import height

__all__ = ["chords", "tips"]

Array = NDArray[np.float64]

_PLANE = 1e-12
_GAIN = 1e-7
_TIGHT = 0.3
"""Curvature times land from which several places of contact are likely and more starts are
tried."""
_GENTLE = 0.05
"""Below it the rim bears one wave or two, which eight places tell."""
_CREASED = 1.0
"""Beyond it a crease may rise and fall within a few degrees of the rim: all its places are looked
over."""
_PLACES = 128
"""Places on the rim that are looked over at most.

At 32 a crease of radius 10 passed between two of them under a flat cutter of 50 mm, whose tip then
stood up to 0.1 too low; at 128 they are 1.2 mm apart there and it is 0.004 at most of those tried.
"""
_STARTS = 8
"""Places in a ring under the land from which a summit is climbed, besides the middle."""


@njit(cache=True)
def _ball(
    coef: Array, frame: Array, profile: CutterProfile, x: float, y: float, qx: float, qy: float
) -> float:
    """Tip of a ball by contact iteration from (qx, qy): q = r·grad h / sqrt(1 + |grad h|²)."""
    corner = profile.corner
    best = -math.inf
    for _ in range(12):
        h, hx, hy = slope_at(coef, frame, x + qx, y + qy)
        best = max(best, h - height(math.hypot(qx, qy), profile))
        scale = corner / math.sqrt(1.0 + hx * hx + hy * hy)
        moved = abs(hx * scale - qx) + abs(hy * scale - qy)
        qx = hx * scale
        qy = hy * scale
        if moved < 1e-4:
            break
    return max(best, height_at(coef, frame, x + qx, y + qy) - height(math.hypot(qx, qy), profile))


@njit(cache=True)
def _rim(
    coef: Array,
    frame: Array,
    profile: CutterProfile,
    x: float,
    y: float,
    cos: float,
    sin: float,
    slope: float,
) -> float:
    """Tip with the contact on the rim, near the direction (cos, sin), up the slope there as far as
    it is known.

    Newton on the direction, until what a further step would gain is less than `_GAIN`.
    """
    land, corner = profile.flat, profile.corner
    out = corner * slope / math.sqrt(1.0 + slope * slope)
    best = -math.inf
    for _ in range(8):
        reach = land + out
        h, hx, hy, hxx, hxy, hyy = shape_at(coef, frame, x + reach * cos, y + reach * sin)
        best = max(best, h - height(out, profile))
        along = hx * cos + hy * sin
        across = hy * cos - hx * sin
        fall = reach * (hxx * sin * sin - 2.0 * hxy * sin * cos + hyy * cos * cos) - along
        turn = (
            min(max(-across / fall, -0.25), 0.25) if fall < -1e-12 else math.copysign(0.1, across)
        )
        wider = corner * along / math.sqrt(1.0 + along * along) if along > 0.0 else 0.0
        rounder = 0.5 * (wider - out) ** 2 / corner if corner > 0.0 else 0.0
        if fall < 0.0 and abs(across * turn) * reach + rounder < _GAIN:
            break
        out = wider
        cos, sin = cos - turn * sin, sin + turn * cos
        length = math.sqrt(cos * cos + sin * sin)
        cos, sin = cos / length, sin / length
    return best


@njit(cache=True)
def _summit(
    coef: Array, frame: Array, land: float, x: float, y: float, qx: float, qy: float
) -> float:
    """Highest ground under the land, climbing from (qx, qy) by Newton's method with damped flat
    directions."""
    best = -math.inf
    for _ in range(6):
        h, hx, hy, hxx, hxy, hyy = shape_at(coef, frame, x + qx, y + qy)
        best = max(best, h)
        middle = 0.5 * (hxx + hyy)
        spread = math.hypot(0.5 * (hxx - hyy), hxy)
        turn = 0.5 * math.atan2(2.0 * hxy, hxx - hyy)
        cos = math.cos(turn)
        sin = math.sin(turn)
        first = (hx * cos + hy * sin) / max(-(middle + spread), 1e-5)
        second = (hy * cos - hx * sin) / max(-(middle - spread), 1e-5)
        if 0.5 * ((hx * cos + hy * sin) * first + (hy * cos - hx * sin) * second) < _GAIN:
            break
        qx += first * cos - second * sin
        qy += first * sin + second * cos
        length = math.hypot(qx, qy)
        if length > land:
            qx *= land / length
            qy *= land / length
    return max(best, height_at(coef, frame, x + qx, y + qy))


@njit(cache=True)
def _disc(
    coef: Array, frame: Array, profile: CutterProfile, bend: float, x: float, y: float, h: float,
    steep: float,
    ring: Array, at: Array,
) -> float:  # fmt: skip
    """Tip of a cutter with a land: the best of the rim (coarse, then refined) and of the ground
    under it.

    Each coarse maximum on the rim that could win is refined; `at` (n,) is room for the heights
    there. `h` and `steep` are height and slope in the middle: only ground that is nearly level
    there can have a summit under the land.
    """
    land = profile.flat
    turn = bend * land
    every = 1 if turn > _CREASED else 4 if turn > _TIGHT else 8 if turn > _GENTLE else 16
    count = ring.shape[0] // every
    top = h
    low = h
    for k in range(count):
        at[k] = height_at(coef, frame, x + ring[k * every, 0], y + ring[k * every, 1])
        low = min(low, at[k])
        top = max(top, at[k])
    if top - low < 1e-9:
        return top
    best = top
    for k in range(count):
        left = at[(k + count - 1) % count]
        right = at[(k + 1) % count]
        if at[k] < left or at[k] <= right or at[k] < top - bend * land * land:
            continue
        hollow = left - 2.0 * at[k] + right
        shift = 0.5 * (left - right) / hollow if hollow < -1e-12 else 0.0
        angle = (k + shift) * 2.0 * math.pi / count
        slope = max(at[k] - h, 0.0) / land
        best = max(best, _rim(coef, frame, profile, x, y, math.cos(angle), math.sin(angle), slope))
    if steep < 1.05 * bend * land:
        best = max(best, _summit(coef, frame, land, x, y, 0.0, 0.0))
        if bend * land > _TIGHT:
            for k in range(0, ring.shape[0], ring.shape[0] // _STARTS):
                best = max(
                    best, _summit(coef, frame, land, x, y, 0.6 * ring[k, 0], 0.6 * ring[k, 1])
                )
    return best


@njit(cache=True)
def _tip(
    coef: Array, frame: Array, profile: CutterProfile, bend: float, up: float, x: float, y: float,
    ring: Array,
    at: Array,
) -> float:  # fmt: skip
    """Tip of a cutter with a land; `bend` bounds the curvature under it, `up` that of hollows.

    Where the slope s in the middle is more than the ground may bend under the cutter of radius r,
    no place under it is level, so it touches on the rim; and where s - bend·r > up·r each level
    place on the rim is a highest one (along the rim the ground bends by t·H·t·r - s there), so
    there is one alone and the rim need not be looked over. On a plane it lies straight up the
    slope.
    """
    h, hx, hy = slope_at(coef, frame, x, y)
    slope = math.hypot(hx, hy)
    land, corner = profile.flat, profile.corner
    if bend < _PLANE:
        return h + slope * land + corner * (math.sqrt(1.0 + slope * slope) - 1.0)
    if slope > (bend + up) * (land + corner):
        return _rim(coef, frame, profile, x, y, hx / slope, hy / slope, slope)
    return _disc(coef, frame, profile, bend, x, y, h, slope, ring, at)


@njit(cache=True)
def tips(
    coef: Array,
    frame: Array,
    profile: CutterProfile,
    bends: Array,
    block: float,
    x: Array,
    y: Array,
) -> Array:
    """Tip heights (n,) at `x`, `y` (n,). `frame` is (x0, y0, step, edge).

    `bends` (n, m, 2) bounds the curvature under the cutter, 1/mm, any and upwards, in blocks of
    `block` mm from two steps before (x0, y0) on.
    """
    land, corner = profile.flat, profile.corner
    out = np.empty(x.shape[0])
    bend = bends.max()
    columns, rows, _both = bends.shape
    left, low = frame[0] - 2.0 * frame[2], frame[1] - 2.0 * frame[2]
    count = _PLACES
    at = np.empty(count)
    ring = np.empty((count, 2))
    for k in range(count):
        ring[k, 0] = land * math.cos(2.0 * math.pi * k / count)
        ring[k, 1] = land * math.sin(2.0 * math.pi * k / count)
    tight = bend * corner > 0.5
    for n in range(x.shape[0]):
        if land > 0.0:
            i = min(max(int((x[n] - left) / block), 0), columns - 1)
            j = min(max(int((y[n] - low) / block), 0), rows - 1)
            out[n] = _tip(
                coef, frame, profile, bends[i, j, 0], bends[i, j, 1], x[n], y[n], ring, at
            )
            continue
        best = _ball(coef, frame, profile, x[n], y[n], 0.0, 0.0)
        if tight:
            for k in range(0, count, count // 16):
                share = 0.8 * corner if k % (count // 8) == 0 else 0.4 * corner
                angle = 2.0 * math.pi * k / count
                best = max(
                    best,
                    _ball(
                        coef,
                        frame,
                        profile,
                        x[n],
                        y[n],
                        share * math.cos(angle),
                        share * math.sin(angle),
                    ),
                )
        out[n] = best
    return out


@njit(cache=True)
def chords(s: Array, z: Array, below: float, above: float) -> NDArray[np.int64]:
    """Fewest vertices of `z` over the rising places `s` such that each chord keeps within the band.

    A chord between two kept points lies nowhere more than `below` under or `above` over the points
    between. Greedy: each chord is as long as the cone of slopes allows.
    """
    count = s.shape[0]
    kept = np.empty(count, np.int64)
    kept[0] = 0
    n = 1
    start = 0
    while start < count - 1:
        low = -math.inf
        high = math.inf
        last = start + 1
        for k in range(start + 1, count):
            run = s[k] - s[start]
            slope = (z[k] - z[start]) / run
            if low <= slope <= high:
                last = k
            low = max(low, (z[k] - below - z[start]) / run)
            high = min(high, (z[k] + above - z[start]) / run)
            if low > high:
                break
        kept[n] = last
        n += 1
        start = last
    return kept[:n]
