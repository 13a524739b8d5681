"""One file on the virtual blank: read independently of the plan, placed on the bed, cut, and
checked by itself.

Zero and cutter are derived from the blank and the text; what the work says is only compared with
them. Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.read_program import ReadProgram
from corepath.readback.cutting import Cutting, check_cut, cut_path
from corepath.readback.inspection import Done
from corepath.readback.motion.cut_load import check_load
from corepath.readback.motion.descents import check_descents, descents_solved, least_slope
from corepath.readback.motion.discipline import (
    check_frame,
    check_obstacles,
    check_offsets,
    check_program,
    check_room,
    choose_cutter,
)
from corepath.readback.motion.feeds import check_feeds
from corepath.readback.motion.first_way import (
    Zeroed,
    check_first_way,
    check_length,
    check_look,
    first_look,
)
from corepath.readback.motion.holder_clearance import check_nose_obstacles, check_nose_stock
from corepath.readback.motion.stops import (
    check_fitting,
    check_spin_up,
    check_standing,
    check_stops,
)
from corepath.readback.simulation_setup import SimulationSetup
from corepath.readback.surfaces.measures import MeasureList
from corepath.readback.words.heads import check_stated_zero
from corepath.readback.words.spoken import check_spoken
from corepath.readback.words.zeros import check_zero
from corepath.stock.material import Stock
from corepath.stock.path import lay
from corepath.work.works import Work

__all__ = ["Mounted", "cut_file"]


@dataclass(frozen=True, slots=True)
class Mounted:
    """The blank on the bed, with the zero set for a file, the one of the file before, and the
    number of the cutter of that file (None: there is none to compare with)."""

    stock: Stock
    zeroed: Zeroed
    zeroed_before: Zeroed | None
    fitted_before: int | None = None


def cut_file(
    work: Work,
    program: ReadProgram,
    text: str,
    mounted: Mounted,
    shop: SimulationSetup,
    cutting: Cutting = cut_path,
) -> Done:
    """Cut a program that was read from `text`, and check all that needs no other file.

    `cutting` cuts the blank along a path, and may look at it on the way.
    """
    stock, now = mounted.stock, mounted.zeroed
    zero = now.place
    findings, measures = Findings(program.file), MeasureList(program.file)
    cutter = choose_cutter(program, work, shop, findings)
    check_offsets(program, shop.length_offset, findings)
    check_fitting(program, shop.length_offset, findings)
    check_program(program, findings, now.system, shop.exact_path)
    check_zero(work, zero, shop.allowed.zero, findings)
    if shop.spoken is not None:
        check_spoken(text, work, shop.spoken, findings, looks=first_look(program) is not None)
    check_stated_zero(text, zero, shop.allowed.zero, findings)
    highest = stock.highest()
    check_stops(program, zero[2], highest, findings)
    check_standing(program, zero[2], highest, findings)
    reach = max([highest, *(one.height for one in work.obstacles)])
    travel = shop.travel[2] if work.setup == "D" else math.inf
    check_first_way(program, now, mounted.zeroed_before, reach, findings, travel)
    if mounted.zeroed_before is None or not now.differs(mounted.zeroed_before):
        check_length(program, (mounted.fitted_before, cutter.number), reach - zero[2], findings)
    check_look(program, work.approach, work.zero, findings)
    path = lay(program, zero, cutter, highest, shop.allowed.chords, findings)
    check_room(path, work, shop, findings)
    check_obstacles(path, work, findings)
    check_nose_obstacles(path, work.obstacles, work.collet, findings)
    check_frame(path, work, shop.allowed.edge, findings)
    check_nose_stock(path, stock.top, stock.grid, work.collet, findings)
    # All above needs the blank as it was before the file, all below what the file did to it.
    before = stock.top.copy()
    cut = cutting(stock, path)
    check_cut(path, cut, shop.allowed, findings)
    cuts = (path.kind > 0) & (cut.removed > shop.allowed.removal)
    check_spin_up(path, cuts, shop.spin_up, findings)
    check_feeds(path, work, cuts, findings)
    # Pockets and holes: `judging.check_ways_down`, where their engagement is known.
    if not (work.pockets or work.holes):
        check_descents(work, path, descents_solved(path, stock, least_slope(work, path)), findings)
    check_load(work, path, cut, stock, measures, findings)
    return Done(path, stock, before, shop.allowed, measures, findings, cut)
