"""Cuts one program on the virtual blank, and checks what each motion did."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from corepath.gcode.read.findings import Findings
from corepath.lengths import mm, square_mm
from corepath.readback.inspection import Done
from corepath.readback.simulation_setup import Allowed
from corepath.stock.contact_kernels import underside_of
from corepath.stock.material import NOWHERE, Cut, Mask, Singles, Stock
from corepath.stock.path import Path

__all__ = ["Cutting", "check_cut", "check_outside", "cut_path", "lowered"]

Cutting = Callable[[Stock, Path], Cut]
"""Cuts a blank along a path."""


def cut_path(stock: Stock, path: Path) -> Cut:
    """Cut the blank along all pieces of a path, rapids included; return what each motion cut."""
    pieces = path.pieces
    return stock.cut(
        pieces.lower, pieces.upper, pieces.owner, len(path.kind), underside_of(path.cutter)
    )


def check_cut(path: Path, cut: Cut, allowed: Allowed, findings: Findings) -> None:
    """Report rapids in material, cuts with the spindle stopped, and cuts deeper than the cutting
    length or the stick-out."""
    cuts = cut.removed > allowed.removal
    rapid = (path.kind == 0) & cuts
    # 1e-6 mm: a level rapid whose ends were rounded goes nowhere down.
    down = rapid & (path.end[:, 2] < path.start[:, 2] - 1e-6)
    stopped = (path.kind > 0) & cuts & ~path.spindle
    cutter = path.cutter
    deep = cuts & (cut.deep > cutter.cutting_length + allowed.removal)
    collet = cuts & (cut.deep > cutter.stick_out + allowed.removal)
    edges = f"edges of {mm(cutter.cutting_length):g} stand below the stock by"
    reach = f"a cutter that sticks out {mm(cutter.stick_out):g} stands below the stock by"
    for kind, which, says, depth in (
        ("rapid-through-material", rapid & ~down, "a rapid takes away", cut.removed),
        ("plunge-at-rapid", down, "a rapid downwards takes away", cut.removed),
        ("spindle-off", stopped, "the spindle is stopped, yet the cut takes", cut.removed),
        ("too-deep-for-cutter", deep, edges, cut.deep),
        ("collet", collet, reach, cut.deep),
    ):
        found = np.flatnonzero(which)
        for index in found[: findings.keep]:
            x, y, z = (float(value) for value in cut.where[index])
            findings.add(
                kind,
                f"{says} {mm(depth[index]):.3f}",
                line=int(path.line[index]),
                place=(x, y, z),
                depth=float(depth[index]),
            )
        findings.more(kind, len(found) - findings.keep)


def lowered(before: Singles, after: Singles, least: float) -> Mask:
    """Return a mask [iy, ix] of the columns lowered by more than `least` (mm) between two height
    maps of that shape."""
    mask: Mask = before - after > np.float32(least)
    return mask


def check_outside(done: Done, may_touch: Mask | None) -> None:
    """Report columns lowered outside the mask `may_touch` [iy, ix] (None: the operation may touch
    everything)."""
    if may_touch is None:
        return
    stock, before = done.stock, done.before
    bad = lowered(before, stock.top, done.allowed.removal) & ~may_touch
    if not bad.any():
        return
    # A column cut right through (NOWHERE) counts as cut down to the bed.
    depth = np.where(bad, before - np.maximum(stock.top, np.float32(0.0)), 0.0)
    iy, ix = np.unravel_index(int(np.argmax(depth)), depth.shape)
    x, y = stock.grid.place(int(iy), int(ix))
    z = float(stock.top[iy, ix])
    area = int(bad.sum()) * stock.grid.px * stock.grid.py
    says = (
        f"{square_mm(area):.1f~} beside what the operation may touch are cut, at the deepest by "
        f"{mm(depth.max()):.3f}"
    )
    place = (x, y, z if z > NOWHERE / 2 else 0.0)
    done.findings.add(
        "outside-area", says, line=done.path.line_near(x, y), place=place, depth=float(depth.max())
    )
