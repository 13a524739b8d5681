"""Writes one program as plain RS-274 (NIST IR 6556): ASCII, one move a line, no geometry of its
own.

The order of a file: head, preamble, stop to fit the cutter (or M6), safe Z, spindle, dwell, moves,
safe Z, spindle off, park, M2. Nothing moves before the cutter is fitted, and nothing moves in X or
Y before the cutter stands at the safe height. Dwells are in seconds, as the standard has them.
"""

from __future__ import annotations

from dataclasses import dataclass

from corepath.gcode.write.body import Body
from corepath.gcode.write.commands import preamble, spindle_on, stop, tool_call
from corepath.gcode.write.comments import comment
from corepath.gcode.write.head import FAILED, Extents, Heading, head
from corepath.gcode.write.numbers import GRIDS, TickGrid, Units
from corepath.job.model import MachineSection
from corepath.lengths import units_of
from corepath.motion.cycles import expand
from corepath.motion.pass_name import pass_height
from corepath.motion.program import Approach, Pass, Program
from corepath.motion.zero_words import touch_words

__all__ = ["WrittenProgram", "write"]


@dataclass(frozen=True, slots=True)
class WrittenProgram:
    """The text of one file, its number of lines, and the extents of its motions (program
    coordinates, mm).

    `cut_lines` and `cut_arcs` count the straight cuts and the arcs in it; drilling cycles are
    neither.
    """

    text: str
    lines: int
    extents: Extents
    cut_lines: int = 0
    cut_arcs: int = 0


def write(
    program: Program, heading: Heading, *, machine: MachineSection, units: Units
) -> WrittenProgram:
    """Return `program` as text: ASCII, lines of at most 80 characters, each ended by a line feed.

    `heading` goes into the head; a warning in it (what failed) stands at the very top and adds a
    stop before anything moves. Raises ValueError where the program is none: no pass, a pass that
    does not begin with a rapid, a cut without a feed, a number that is not finite, an arc whose
    ends lie at different radii.
    """
    if not program.passes:
        raise ValueError(f"{program.stem}: nothing to write")
    grid = GRIDS[units]
    body = Body(program.zero, grid, machine.arcs)
    _begin(body, program, machine, grid, heading.warning is not None)
    for number, stretch in enumerate(program.passes, start=1):
        if number > 1:
            _stop(body, program, machine, number, grid)
        _cut(body, program, stretch, number, machine, grid)
    _end(body, program)
    lines = head(program, heading, body.extents, grid, offset=machine.length_offset) + body.lines
    return WrittenProgram(
        "\n".join(lines) + "\n", len(lines), body.extents, body.cut_lines, body.cut_arcs
    )


def _begin(
    body: Body, program: Program, machine: MachineSection, grid: TickGrid, failed: bool
) -> None:
    exact = "G61" if machine.exact_path else "G64"
    body.add(*preamble(grid, program.zero.system, exact))
    # The first stop of the file, before a cutter is fitted or anything moves.
    if failed:
        body.add(*stop(FAILED))
    _fit(body, program, machine, grid)
    if program.approach is not None:
        _approach(body, program.approach, grid)
    body.rapid(z=program.clear)
    if program.spindle:
        _spin(body, program, machine)


def _fit(body: Body, program: Program, machine: MachineSection, grid: TickGrid) -> None:
    """Add the call of the cutter and the stop at which Z is touched with it, also after M6; with a
    length offset no stop is needed."""
    cutter = program.cutter
    body.add(tool_call(cutter.number, changes=machine.tool_change == "m6"))
    if machine.length_offset:
        body.add(f"G43 H{cutter.number}")
        return
    name = f"T{cutter.number} {cutter.shape} {grid.size(cutter.listed or cutter.diameter)}"
    asks = touch_words(program.zero, name)
    if cutter.measured:
        body.add(
            *comment(
                f"T{cutter.number}: paths are for its diameter as measured, "
                f"{grid.size(cutter.diameter)}"
            )
        )
    if program.kept:
        asks = f"{name} stays as for {program.kept}: do not touch Z again"
    if not program.spindle:
        body.add(
            *comment("Rehearsal, spindle off all the time: the tip of the cutter shows the place")
        )
    body.add(*stop(asks))


def _approach(body: Body, way: Approach, grid: TickGrid) -> None:
    """Add the first approach: down at feed to a height that is clear under the old zero too, and a
    stop to look, with the spindle off."""
    if way.old:
        body.add(*comment(_forgotten(way, grid)))
    body.walk(way.feed, z=way.height)
    body.walk(way.walk, way.x, way.y)
    body.add(
        *stop(f"Tip must be about {grid.about(way.above)} above {way.face}, else stop and touch Z")
    )


def _forgotten(way: Approach, grid: TickGrid) -> str:
    """Return the words for what the operator sees if the new zero was not touched."""
    seen = (
        f"is about {grid.about(way.otherwise)} above {way.face}"
        if way.otherwise > 0.0
        else f"meets {way.face}"
    )
    return f"First way down: with the zero of the file before, on {way.old}, the tip {seen}"


def _spin(body: Body, program: Program, machine: MachineSection) -> None:
    body.add(*spindle_on(round(program.cutting.rpm), machine.spin_up))


def _cut(
    body: Body,
    program: Program,
    stretch: Pass,
    number: int,
    machine: MachineSection,
    grid: TickGrid,
) -> None:
    if stretch.planes:
        body.add(*comment(_pass_words(stretch, grid)))
    elif len(program.passes) > 1 or stretch.message:
        body.add(
            *comment(
                f"Pass {number} of {len(program.passes)}: "
                f"{units_of(grid.units).text(stretch.message)}".rstrip(": ")
            )
        )
    body.replay(stretch.moves if machine.canned_cycles else expand(stretch.moves))
    body.rapid(z=program.clear)


def _stop(
    body: Body, program: Program, machine: MachineSection, number: int, grid: TickGrid
) -> None:
    if not program.spindle:
        body.add(
            *stop(
                units_of(grid.units).text(
                    f"Now {program.passes[number - 2].message}; cycle start goes on"
                )
            )
        )
        return
    body.add("M5", f"G4 P{machine.spin_down:.1f}")
    body.rapid(*program.park)
    body.add(*stop(_asks(program, number, grid)))
    _spin(body, program, machine)


def _asks(program: Program, number: int, grid: TickGrid) -> str:
    """Return the message at the stop before pass `number`; passes of a skim are named by their
    heights."""
    done, following = program.passes[number - 2], program.passes[number - 1]
    if not (done.planes and following.planes):
        shows = "If the casting shows all round and at each plug, end. If not, cycle start"
        return shows if program.combined else f"Pass {number - 1} is done; cycle start goes on"
    reached, ahead = (pass_height(one.planes[-1], grid.units) for one in (done, following))
    if not program.combined:
        return f"Pass at {reached} is done; cycle start cuts to {ahead}"
    return f"At {reached}: if all shows, also each plug, end, else start cuts to {ahead}"


def _pass_words(stretch: Pass, grid: TickGrid) -> str:
    """Return a stretch of the skim in words, by the heights of its planes."""
    heights = ", ".join(pass_height(plane, grid.units) for plane in stretch.planes)
    return f"Pass{'es' if len(stretch.planes) > 1 else ''} at {heights} {grid.short} above the bed"


def _end(body: Body, program: Program) -> None:
    body.add("M5")
    body.rapid(*program.park)
    body.add("M2")
