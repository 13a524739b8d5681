"""Compiled kernels of the surfacing paths: drop-cutter heights over a surface, and chords.

The surface is that of `corepath.board.deck.spline_kernels`, which evaluates it: `coef` and `frame`
are its own. The end of a cutter is a `CutterProfile`, z(r); the radius of its flat part is called
`flat` here. Dropped on the surface at p, the cutter's tip stops at the largest of h(p + q) − z(|q|)
over all q within its radius. All in mm; elementary geometry, no source needed.

Each search below keeps the best of all places that it has looked at. Every place is a lower bound
of the tip height, so a search can end too low (the cutter would gouge) but never too high: the
number of starts and of places on the rim is a matter of safety, not only of speed.
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

# 1/mm. DropCutter sets second differences of rounding size to 0, so a bound on the curvature is
# either 0 or several orders above this: it tells the two apart, nothing finer.
_PLANE = 1e-12
# mm. Newton steps end when the next could raise the tip by less than this, far less than the
# rounding of the text costs (0.0005 mm).
_GAIN = 1e-7
_TIGHT = 0.3
"""Curvature (1/mm) times flat (mm) from which the ground under the flat can touch it at several
places, so that more starts are tried."""
_GENTLE = 0.05
"""Below this value the height along the rim has at most two maxima; eight samples find them."""
_CREASED = 1.0
"""Beyond this value the height along the rim may rise and fall within a few degrees (a crease): all
`_PLACES` are looked at."""
_PLACES = 128
"""Most places on the rim that are looked at.

With 32 places a crease of radius 10 lay between two of them under a flat cutter of 50 mm, whose tip
then stood up to 0.1 too low; with 128 places they are 1.2 mm apart there, and the error was at most
0.004 in the cases tried.
"""
_STARTS = 8
"""Places in a ring under the flat from which a summit is climbed, besides the middle."""
_HILLS = 3
"""Most hills between axis and rim that are climbed, the highest first."""


@njit(cache=True)
def _ball(
    coef: Array, frame: Array, profile: CutterProfile, x: float, y: float, qx: float, qy: float
) -> float:
    """Drop-cutter height of a ball over (x, y), by fixed-point iteration of its contact from (qx,
    qy).

    At the contact the ball's normal is the ground's: q = r·grad h / sqrt(1 + |grad h|²).
    """
    corner = profile.corner
    best = -math.inf
    # The iteration contracts while radius times curvature is below 1. In a tighter hollow it may
    # wander; `best` keeps the highest place met, and `tips` starts from more places there.
    for _ in range(12):
        h, hx, hy = slope_at(coef, frame, x + qx, y + qy)
        best = max(best, h - height(math.hypot(qx, qy), profile))
        scale = corner / math.sqrt(1.0 + hx * hx + hy * hy)
        moved = abs(hx * scale - qx) + abs(hy * scale - qy)
        qx = hx * scale
        qy = hy * scale
        # At a maximum the error of the height is of second order in q: 0.0001 mm aside is about
        # 1e-8 mm in height.
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
    """Drop-cutter height with the contact on the rim of the flat part or on the corner beyond it.

    Starts in the direction (cos, sin) from the axis; `slope` is the slope up that way as far as it
    is known. Newton's method on the direction, with the contact moved out over the corner as the
    slope asks, until a further step would gain less than `_GAIN`.
    """
    flat, corner = profile.flat, profile.corner
    # A corner of radius r touches a slope s at r·s / sqrt(1 + s²) beyond the flat part.
    out = corner * slope / math.sqrt(1.0 + slope * slope)
    best = -math.inf
    for _ in range(8):
        reach = flat + out
        h, hx, hy, hxx, hxy, hyy = shape_at(coef, frame, x + reach * cos, y + reach * sin)
        best = max(best, h - height(out, profile))
        # Slope outward and sideways; `across` is the first derivative of the height along the rim
        # by the angle, divided by the reach, and `fall` the second derivative, divided likewise.
        along = hx * cos + hy * sin
        across = hy * cos - hx * sin
        fall = reach * (hxx * sin * sin - 2.0 * hxy * sin * cos + hyy * cos * cos) - along
        # Newton only where the rim bends down (a maximum is near), and at most 0.25 rad at once:
        # further away the quadratic model does not hold. Otherwise a fixed step uphill.
        turn = (
            min(max(-across / fall, -0.25), 0.25) if fall < -1e-12 else math.copysign(0.1, across)
        )
        # Where the ground falls outward the contact lies on the inner edge of the corner.
        wider = corner * along / math.sqrt(1.0 + along * along) if along > 0.0 else 0.0
        rounder = 0.5 * (wider - out) ** 2 / corner if corner > 0.0 else 0.0
        if fall < 0.0 and abs(across * turn) * reach + rounder < _GAIN:
            break
        out = wider
        cos, sin = cos - turn * sin, sin + turn * cos
        # The rotation above is that of a small angle: it lengthens the vector, so it is made a unit
        # vector again.
        length = math.sqrt(cos * cos + sin * sin)
        cos, sin = cos / length, sin / length
    return best


@njit(cache=True)
def _summit(
    coef: Array, frame: Array, flat: float, x: float, y: float, qx: float, qy: float
) -> float:
    """Highest ground under the flat part, climbing from (qx, qy) by Newton's method.

    In the principal directions of the curvature, each damped where the ground does not bend down.
    """
    best = -math.inf
    for _ in range(6):
        h, hx, hy, hxx, hxy, hyy = shape_at(coef, frame, x + qx, y + qy)
        best = max(best, h)
        # Eigenvalues middle ± spread of the second derivatives and the angle of the first one: in
        # these directions the two Newton steps do not disturb each other.
        middle = 0.5 * (hxx + hyy)
        spread = math.hypot(0.5 * (hxx - hyy), hxy)
        turn = 0.5 * math.atan2(2.0 * hxy, hxx - hyy)
        cos = math.cos(turn)
        sin = math.sin(turn)
        # Where the ground is flat or hollow along a direction, a Newton step would be infinite or
        # lead downhill. With 1e-5 in its place the step leads uphill and so far that the clamp to
        # the rim below ends it.
        first = (hx * cos + hy * sin) / max(-(middle + spread), 1e-5)
        second = (hy * cos - hx * sin) / max(-(middle - spread), 1e-5)
        # The quadratic model gains ½·g·step: the summit is reached when that is nothing.
        if 0.5 * ((hx * cos + hy * sin) * first + (hy * cos - hx * sin) * second) < _GAIN:
            break
        qx += first * cos - second * sin
        qy += first * sin + second * cos
        length = math.hypot(qx, qy)
        if length > flat:
            qx *= flat / length
            qy *= flat / length
    return max(best, height_at(coef, frame, x + qx, y + qy))


@njit(cache=True)
def _hills(
    coef: Array, frame: Array, profile: CutterProfile, bend: float, x: float, y: float,
    peaks: Array, block: float, best: float,
) -> float:  # fmt: skip
    """The largest of `best` and of the drop-cutter heights on hills that stand under the cutter
    between its axis and its edge.

    Rim and middle may both stand on level ground beside a hill: no slope leads to it from there.
    So the highest node of each block says where one is. `peaks` (n, m, 3) has their heights and
    places, `block` (mm) is the size of the blocks, the first of which begins at the first node.
    """
    flat, corner, radius = profile.flat, profile.corner, profile.radius
    # Between two nodes the ground may be higher than at both: by half the curvature times the
    # square of half a diagonal of the lattice.
    rise = 0.25 * bend * frame[2] * frame[2]
    columns, rows, _ = peaks.shape
    i0 = max(math.floor((x - radius - frame[0]) / block), 0)
    i1 = min(math.floor((x + radius - frame[0]) / block), columns - 1)
    j0 = max(math.floor((y - radius - frame[1]) / block), 0)
    j1 = min(math.floor((y + radius - frame[1]) / block), rows - 1)
    below = math.inf
    for _climb in range(_HILLS):
        # The highest node under the cutter that is lower than the one before it.
        high = best - rise
        qx = qy = out = 0.0
        found = False
        for i in range(i0, i1 + 1):
            for j in range(j0, j1 + 1):
                # No node of a block stands higher than its peak: most blocks end here.
                if peaks[i, j, 0] <= high:
                    continue
                px, py = peaks[i, j, 1] - x, peaks[i, j, 2] - y
                away = math.hypot(px, py)
                if away > radius:
                    continue
                tall = peaks[i, j, 0] - height(away - flat, profile)
                if high < tall < below:
                    high, qx, qy, out, found = tall, px, py, away - flat, True
        if not found:
            break
        below = high
        if out <= 0.0:
            best = max(best, _summit(coef, frame, flat, x, y, qx, qy))
        else:
            # On the corner: it touches there where the ground is as steep as the corner is.
            away = math.hypot(qx, qy)
            slope = out / math.sqrt(max(corner * corner - out * out, 1e-6))
            best = max(best, _rim(coef, frame, profile, x, y, qx / away, qy / away, slope))
    return best


@njit(cache=True)
def _disc(
    coef: Array, frame: Array, profile: CutterProfile, bend: float, x: float, y: float, h: float,
    steep: float,
    ring: Array, at: Array, peaks: Array, block: float,
) -> float:  # fmt: skip
    """Drop-cutter height of a cutter with a flat part: the best of its rim and of the ground under
    it.

    The rim is looked at coarsely, then each coarse maximum that could win is refined; `at` (n,) is
    room for the heights there, `ring` (n, 2) has the places. `h` and `steep` are height and slope
    under the axis; `bend` bounds the curvature under the cutter, 1/mm.
    """
    flat = profile.flat
    turn = bend * flat
    # 128, 32, 16 or 8 places: the tighter the ground may bend under the flat, the more maxima the
    # rim can have.
    every = 1 if turn > _CREASED else 4 if turn > _TIGHT else 8 if turn > _GENTLE else 16
    count = ring.shape[0] // every
    top = h
    low = h
    for k in range(count):
        at[k] = height_at(coef, frame, x + ring[k * every, 0], y + ring[k * every, 1])
        low = min(low, at[k])
        top = max(top, at[k])
    best = _hills(coef, frame, profile, bend, x, y, peaks, block, top)
    # Middle and rim all at one height: level ground, as everywhere beyond the shaped part of a
    # deck, but for a hill between them.
    if top - low < 1e-9:
        return best
    for k in range(count):
        left = at[(k + count - 1) % count]
        right = at[(k + 1) % count]
        # Only local maxima (of two equal neighbours the first), and only those that refining can
        # lift to the top: between two places the rim cannot rise by more than bend·flat².
        if at[k] < left or at[k] <= right or at[k] < top - bend * flat * flat:
            continue
        # The vertex of the parabola through three places is a better start than the place itself.
        hollow = left - 2.0 * at[k] + right
        shift = 0.5 * (left - right) / hollow if hollow < -1e-12 else 0.0
        angle = (k + shift) * 2.0 * math.pi / count
        # Mean slope from the axis to the rim: where the contact on the corner is first tried.
        slope = max(at[k] - h, 0.0) / flat
        best = max(best, _rim(coef, frame, profile, x, y, math.cos(angle), math.sin(angle), slope))
    # A summit under the flat has slope 0, and over the flat the slope changes by at most bend·flat:
    # steeper ground has none. The 5 % is a margin: a few climbs too many, never a summit missed.
    if steep < 1.05 * bend * flat:
        best = max(best, _summit(coef, frame, flat, x, y, 0.0, 0.0))
        # Tightly bent ground can have several summits, and a climb from the middle finds one of
        # them.
        if bend * flat > _TIGHT:
            for k in range(0, ring.shape[0], ring.shape[0] // _STARTS):
                best = max(
                    best, _summit(coef, frame, flat, x, y, 0.6 * ring[k, 0], 0.6 * ring[k, 1])
                )
    return best


@njit(cache=True, inline="always")
def _tip(
    coef: Array, frame: Array, profile: CutterProfile, bend: float, up: float, x: float, y: float,
    ring: Array,
    at: Array, peaks: Array, block: float,
) -> float:  # fmt: skip
    """Drop-cutter height of a cutter with a flat part over (x, y).

    `bend` bounds the curvature under it, `up` that of hollows, both 1/mm. Where the slope s under
    the axis is more than the ground may bend under a cutter of radius r (s > bend·r), no place
    under it is level, so it touches on the rim. Where also s − bend·r > up·r, each level place on
    the rim is a maximum (along the rim the second derivative is t·H·t·r − s there), so there is
    only one and the rim need not be searched. On a plane the contact lies straight up the slope.
    """
    h, hx, hy = slope_at(coef, frame, x, y)
    slope = math.hypot(hx, hy)
    flat, corner = profile.flat, profile.corner
    if bend < _PLANE:
        return h + slope * flat + corner * (math.sqrt(1.0 + slope * slope) - 1.0)
    if slope > (bend + up) * (flat + corner):
        return _rim(coef, frame, profile, x, y, hx / slope, hy / slope, slope)
    return _disc(coef, frame, profile, bend, x, y, h, slope, ring, at, peaks, block)


@njit(cache=True)
def tips(
    coef: Array,
    frame: Array,
    profile: CutterProfile,
    bends: Array,
    peaks: Array,
    block: float,
    x: Array,
    y: Array,
) -> Array:
    """Drop-cutter heights (n,), mm, at the places `x`, `y` (n,), mm: the least tip heights that
    gouge nothing.

    `frame` is (x0, y0, step, edge) of the surface. `bends` (n, m, 2) bounds the curvature under the
    cutter, 1/mm: of any sign, and of hollows only, in square blocks of `block` mm that begin two
    steps before (x0, y0). `peaks` (i, j, 3) are height and place of the highest node in each of the
    blocks of `block` mm that begin at (x0, y0).
    """
    flat, corner = profile.flat, profile.corner
    out = np.empty(x.shape[0], np.float64)
    columns, rows, _both = bends.shape
    # By loops: numpy's max of three axes takes half a second to compile.
    bend = 0.0
    for i in range(columns):
        for j in range(rows):
            bend = max(bend, bends[i, j, 0], bends[i, j, 1])
    # The coefficients have two rows of padding before the first node, and the blocks begin with
    # them.
    left, low = frame[0] - 2.0 * frame[2], frame[1] - 2.0 * frame[2]
    count = _PLACES
    at = np.empty(count, np.float64)
    ring = np.empty((count, 2), np.float64)
    for k in range(count):
        ring[k, 0] = flat * math.cos(2.0 * math.pi * k / count)
        ring[k, 1] = flat * math.sin(2.0 * math.pi * k / count)
    # For a ball: radius times curvature is the factor by which the fixed-point iteration contracts.
    # From 0.5 on it is slow or may settle on another contact, so 16 more starts are made,
    # alternately at 0.8 and 0.4 of the radius.
    tight = bend * corner > 0.5
    for n in range(x.shape[0]):
        if flat > 0.0:
            # Beyond the blocks the nearest one holds: its bound covers the level ground outside.
            i = min(max(int((x[n] - left) / block), 0), columns - 1)
            j = min(max(int((y[n] - low) / block), 0), rows - 1)
            out[n] = _tip(
                coef, frame, profile, bends[i, j, 0], bends[i, j, 1], x[n], y[n], ring, at, peaks,
                block,
            )  # fmt: skip
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
    """Indices of the fewest vertices of `z` (n,) over the rising places `s` (n,) whose chords keep
    within the band.

    A chord between two kept points lies nowhere more than `below` under or `above` over the points
    between; all in mm. Greedy: each chord is as long as the cone of slopes allows. First and last
    index are always kept.
    """
    count = s.shape[0]
    kept = np.empty(count, np.int64)
    kept[0] = 0
    n = 1
    start = 0
    while start < count - 1:
        # The cone: slopes of chords from `start` that pass every point so far within the band. It
        # only narrows, so each point is looked at once.
        low = -math.inf
        high = math.inf
        last = start + 1
        for k in range(start + 1, count):
            run = s[k] - s[start]
            slope = (z[k] - z[start]) / run
            # A later point may be inside the cone again after one that was not, so the search goes
            # on until the cone is empty.
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
