"""What a careful machinist checks in a program before any wood is cut: preamble, units, cutter,
room.

No check here needs the virtual blank, except for the height of the stock. Lengths in mm, bed frame.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.read_program import ReadProgram
from corepath.lengths import mm
from corepath.motion.cutter import Cutter
from corepath.readback.simulation_setup import SimulationSetup
from corepath.stock.path import Path
from corepath.work.works import Work

# G61, G61.1 and G64, ten times their codes.
_EXACT, _EXACT_STOP, _BLENDED = 610, 611, 640
_TOUCH = 1e-9  # mm: a move at an obstacle's very height passes over it

__all__ = [
    "check_frame",
    "check_obstacles",
    "check_offsets",
    "check_program",
    "check_room",
    "choose_cutter",
]


def check_program(
    program: ReadProgram, findings: Findings, system: int = 540, exact: bool = False
) -> None:
    """Check preamble, units, coordinate system (`system`, ten times its code: 540 is G54) and path
    control (`exact`: G61, else G64), and take over what the reader found."""
    findings.extend(program.findings)
    if not program.units_stated:
        findings.add("units", "neither G20 nor G21 is stated before the first move")
    missing = [group for group in program.unstated if group != "units"]
    if missing and program.count:
        line = int(program.line[0])
        findings.add(
            "preamble", "not stated before the first move: " + ", ".join(missing), line=line
        )
    if any(used != system for used in program.systems):
        findings.add("zero", f"it works in another coordinate system than G{system // 10}")
    if exact and program.path_modes - {_EXACT, _EXACT_STOP}:
        findings.add(
            "path-mode",
            "G64: the control may round off its corners, and machine.exact_path asks for G61",
        )
    if not exact and program.path_modes - {_BLENDED}:
        says = (
            "G61: the control slows down at each corner, and machine.exact_path is not set: the "
            "cutter rubs there"
        )
        findings.add("path-mode", says)


def choose_cutter(
    program: ReadProgram, work: Work, shop: SimulationSetup, findings: Findings
) -> Cutter:
    """Return the cutter that the T word calls, or the operation's cutter if that tool number is
    missing or not defined."""
    # Wherever a fault is found the file is still cut with some cutter, so that all that it does
    # wrong is found at once.
    named = [int(event.value) for event in program.events if event.name == "tool"]
    if not named:
        findings.add("unknown-cutter", "no T word names the cutter")
        return work.cutter
    if len(set(named)) > 1:
        findings.add(
            "wrong-cutter", f"more than one cutter in a file: {', '.join(f'T{n}' for n in named)}"
        )
    number = named[0]
    if number not in shop.cutters:
        findings.add("unknown-cutter", f"T{number} is not in the list of cutters")
        return work.cutter
    if number != work.cutter.number:
        findings.add(
            "wrong-cutter",
            f"T{number} is called, the operation is planned for {work.cutter.describe()}",
        )
    return shop.cutters[number]


def check_offsets(program: ReadProgram, planned: bool, findings: Findings) -> None:
    """Check that G43 is called only where the machine holds the lengths of its cutters (`planned`),
    and that it is called there.

    Whether an H is that of the cutter in the spindle was checked while reading.
    """
    if not planned and any(program.offsets):
        named = ", ".join(f"H{index}" for index in program.offsets)
        findings.add(
            "length-offset",
            f"G43 {named}, and none is planned: Z was touched with this very cutter",
        )
    if planned and not any(program.offsets):
        findings.add(
            "length-offset",
            "no G43 H: Z zero was not touched with this cutter, its length must be called",
        )


def check_room(path: Path, work: Work, shop: SimulationSetup, findings: Findings) -> None:
    """Check the machine's travel, the spoil board, and the lowest height that the operation may
    cut."""
    if not len(path.end):
        return
    # The chords of arcs too: a full circle begins and ends at one place and goes far from it.
    pieces = path.pieces
    span = np.ptp(np.vstack((path.start, path.end, pieces.lower, pieces.upper)), axis=0)
    for axis, needed, room in zip("XYZ", span, shop.travel, strict=True):
        if needed > room + 1e-6:
            findings.add(
                "travel",
                f"{axis} needs {mm(needed):.2f}, the machine has {mm(room):.2f}",
                depth=float(needed - room),
            )
    depth = path.end[:, 2]
    deepest = shop.deepest(work.setup)
    # 1e-6 mm: a cut to just the limit is not below it.
    _too_low(path, depth < deepest - 1e-6, "spoil-board", deepest, findings)
    _too_low(
        path, depth < work.lowest - shop.allowed.heights, "below-lowest", work.lowest, findings
    )


def _too_low(
    path: Path,
    which: np.ndarray[tuple[int], np.dtype[np.bool_]],
    kind: str,
    limit: float,
    findings: Findings,
) -> None:
    found = np.flatnonzero(which)
    for index in found[: findings.keep]:
        x, y, z = (float(value) for value in path.end[index])
        says = f"goes to {mm(z):.3f}; the lowest allowed is {mm(limit):.3f}"
        findings.add(kind, says, line=int(path.line[index]), place=(x, y, z), depth=limit - z)
    findings.more(kind, len(found) - findings.keep)


def check_obstacles(path: Path, work: Work, findings: Findings) -> None:
    """Check that the cutter keeps its radius off each obstacle, wherever it is below its height."""
    for obstacle in work.obstacles:
        pieces = path.pieces.below(obstacle.height - _TOUCH)
        if not len(pieces):
            continue
        keep_off: Polygon = obstacle.area.buffer(path.cutter.radius)
        shapely.prepare(keep_off)
        lines = shapely.linestrings(np.stack((pieces.lower[:, :2], pieces.upper[:, :2]), axis=1))
        met = np.flatnonzero(shapely.intersects(keep_off, lines))
        for index in met[: findings.keep]:
            x, y, z = (float(value) for value in pieces.lower[index])
            says = f"passes within the cutter's radius of an obstacle {mm(obstacle.height):g} high"
            findings.add(
                "obstacle", says, line=int(path.line[pieces.owner[index]]), place=(x, y, z)
            )
        findings.more("obstacle", len(met) - findings.keep)


def check_frame(path: Path, work: Work, edge: float, findings: Findings) -> None:
    """Check that below the stock's top the cutter stays inside the frame around the deck.

    By exact geometry, since columns do not show a sliver. `edge` (mm) is how far it may reach past.
    """
    if work.deck is None or not work.deck.framed:
        return
    # 1e-6 mm: a move just along the top cuts nothing.
    pieces = path.pieces.pick(path.pieces.low < work.stock_top - 1e-6)
    if not len(pieces):
        return
    # Where the axis may go: the inner edge of the frame, inset by the cutter's radius.
    room: Polygon = work.deck.area.buffer(edge - path.cutter.radius, join_style="mitre")
    shapely.prepare(room)
    lines = shapely.linestrings(np.stack((pieces.lower[:, :2], pieces.upper[:, :2]), axis=1))
    beyond = np.flatnonzero(~shapely.covers(room, lines))
    for index in beyond[: findings.keep]:
        x, y, z = (float(value) for value in pieces.lower[index])
        line = int(path.line[pieces.owner[index]])
        findings.add(
            "outside-area", "reaches into the frame round the deck", line=line, place=(x, y, z)
        )
    findings.more("outside-area", len(beyond) - findings.keep)
