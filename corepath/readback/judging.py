"""Compares what a file leaves with what its operation was to leave: walls, floors, holes, deck,
cuts. Lengths in mm."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from corepath.readback.inspection import Done
from corepath.readback.motion.descents import (
    check_descents,
    descents_engaged,
    descents_solved,
    least_slope,
)
from corepath.readback.motion.drilled import check_drilling, check_openings
from corepath.readback.motion.working import check_working, find_engagement
from corepath.readback.simulation_setup import SimulationSetup
from corepath.readback.surfaces.floors import (
    Singles,
    check_deck,
    check_floor,
    check_plane,
    check_rough,
    inside,
)
from corepath.readback.surfaces.hole_steps import check_holes
from corepath.readback.surfaces.laid_blank import check_bolts, check_trim, trim_mask
from corepath.readback.surfaces.layers import check_layers
from corepath.readback.surfaces.second_files import check_cleared
from corepath.readback.surfaces.walls import check_walls, moves_outside
from corepath.stock.engagement import Engagement
from corepath.stock.material import Mask, Stock
from corepath.work.works import Work

__all__ = [
    "check_motions",
    "check_ways_down",
    "engaged",
    "may_touch",
    "measure_deck",
    "measure_proud",
    "measure_work",
]


def may_touch(work: Work, stock: Stock, shop: SimulationSetup) -> Mask | None:
    """Return a mask [iy, ix] of the columns that the operation may lower; None for all."""
    grid, edge = stock.grid, shop.allowed.edge
    if work.deck is not None and work.deck.framed:
        return inside(stock, shapely.buffer(work.deck.area, edge))
    if work.trim is not None:
        return trim_mask(stock, work, work.trim, edge)
    if not work.pockets and not work.holes:
        return None
    mask = np.zeros((grid.ny, grid.nx), dtype=np.bool_)
    for pocket in work.pockets:
        mask |= inside(stock, shapely.buffer(pocket.area, edge))
    for hole in work.holes:
        mask |= grid.near(hole.x, hole.y, hole.steps[0].diameter / 2.0 + edge)
    return mask


def engaged(work: Work, done: Done) -> Engagement | None:
    """Return the engagement of a file of pockets or holes, and check it; None for a ball, or where
    nothing moves."""
    path = done.path
    if not (work.pockets or work.holes) or path.cutter.flat_radius <= 0.0 or not len(path.kind):
        return None
    found = find_engagement(work, path, done.before, done.stock.grid)
    # Planing off proud resin may run at any width: measured, but not judged.
    proud = any(pocket.proud for pocket in work.pockets)
    check_working(work, path, found, done.measures, done.findings, judge=not proud)
    return found


def check_ways_down(work: Work, done: Done, found: Engagement | None) -> None:
    """Check plunges and ramps of pockets and holes, by the engagement or, without one, solved for
    the file last cut on its blank."""
    path = done.path
    down = (
        descents_solved(path, done.stock, least_slope(work, path))
        if found is None
        else descents_engaged(path, found)
    )
    check_descents(work, path, down, done.findings)


def measure_work(work: Work, done: Done, found: Engagement | None, shop: SimulationSetup) -> None:
    """Check pockets, holes and the trimmed edge."""
    measure_proud(work, done)
    if work.pockets:
        _pockets(work, done, found)
    if work.holes:
        check_holes(work.holes, done)
        if work.setup == "D" and shop.laid is not None:
            check_bolts(work, shop, shop.laid, done.measures, done.findings)
    if work.trim is not None:
        check_trim(work.trim, done)


def measure_proud(work: Work, done: Done) -> None:
    """Check that castings that stand proud are planed level."""
    for pocket in work.pockets:
        if pocket.proud:
            # One cell inside what the cutter reaches, as for floors.
            reached = pocket.area.buffer(-work.cutter.radius - done.stock.grid.cell).buffer(
                work.cutter.radius
            )
            check_plane(pocket.floor, done, inside(done.stock, reached))


def measure_deck(work: Work, done: Done, heights: Singles, behind: Sequence[Work]) -> None:
    """Check the deck as roughing or finishing leaves it; `heights` [iy, ix] are h at every column,
    `behind` the works before this one."""
    if work.deck is None:
        return
    off_walls = ~_wall_columns(done.stock, behind, done.allowed.edge)
    if work.deck.rough > 0.0:
        check_rough(work.deck, heights, work.cutting.depth, done, off_walls)
    else:
        check_deck(work.deck, heights, done, off_walls)


def _wall_columns(stock: Stock, behind: Sequence[Work], edge: float) -> Mask:
    """A mask of the columns within `edge` mm of the wall of a hole that was cut from the deck side.

    A turn of chords may cut such a column at one height and pass beside it at the next: what is
    left of it stands below the deck, though the deck was not touched. The holes' own checks judge
    their walls.
    """
    grid = stock.grid
    mask, xs, ys = np.zeros((grid.ny, grid.nx), dtype=np.bool_), grid.xs, grid.ys
    for hole in (hole for work in behind if work.setup == "A" for hole in work.holes):
        widest = max(step.diameter for step in hole.steps) / 2.0
        part = grid.about(hole.x, hole.y, widest + edge + grid.cell)
        away = np.hypot(xs[None, part[1]] - hole.x, ys[part[0], None] - hole.y)
        for step in hole.steps:
            mask[part] |= np.abs(away - step.diameter / 2.0) <= edge
    return mask


def check_motions(work: Work, done: Done, behind: Sequence[Work]) -> None:
    """Check what depends on the motions alone, whatever the blank; `behind` are the works before
    this one."""
    check_cleared(work, behind, done.findings)
    check_openings(work, done.path, done.findings)
    check_drilling(work, done.path, done.cut.removed > done.allowed.removal, done.findings)


def _pockets(work: Work, done: Done, found: Engagement | None) -> None:
    path, findings = done.path, done.findings
    owned, stray = moves_outside(path, work.pockets)
    for pocket, mine in zip(work.pockets, owned, strict=True):
        if pocket.proud:
            continue
        check_walls(pocket, mine, done)
        check_floor(pocket, done)
        if found is not None:
            check_layers(work, pocket, mine, found, done)
    for index in range(min(len(stray), findings.keep)):
        x, y, z = (float(value) for value in stray.middle[index])
        line = int(path.line[stray.owner[index]])
        findings.add(
            "outside-area",
            "a motion below the stock outside every pocket",
            line=line,
            place=(x, y, z),
        )
    findings.more("outside-area", len(stray) - findings.keep)
