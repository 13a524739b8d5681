"""The head of a file: what a person must know before pressing cycle start, as comments.

Coordinates named here are program coordinates in the file's own unit, unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from corepath.gcode.write.comments import comment
from corepath.gcode.write.numbers import TickGrid
from corepath.job.pose import over_datum
from corepath.lengths import marked, units_of
from corepath.motion.cutter import Cutter, Cutting, cutter_words
from corepath.motion.program import Program
from corepath.motion.zero_words import xy_words
from corepath.reported import report_keys

__all__ = ["FAILED", "Extents", "Heading", "head"]

RISK = "Risk accepted"
FAILED = "PLANNED DESPITE FAILED CHECKS - DO NOT CUT"

_CAUTIONS = (
    "Caution: protect eyes and ears, extract the dust, keep hands clear until",
    "the spindle has stopped. Makers' sheets and local rules go before this file.",
)


@report_keys("x", "y", "z")
class Extents(NamedTuple):
    """Least and largest of each axis that the tip of the cutter reaches, program coordinates,
    mm."""

    x: tuple[float, float]
    y: tuple[float, float]
    z: tuple[float, float]


class Heading(NamedTuple):
    """What the head says beyond the program itself; `warning` tells which checks failed, `risk`
    which of them the job accepts, and the odds. `place` says what the file is for, where that is
    no operation of a set-up."""

    title: str
    digest: str
    face_up: str
    minutes: float
    warning: str | None = None
    risk: str = ""
    place: str = ""


def head(
    program: Program, heading: Heading, extents: Extents, grid: TickGrid, *, offset: bool
) -> list[str]:
    """Return the comment lines of the head, each of at most 80 characters; `offset`: Z is set with
    G43."""
    lines: list[str] = []
    for text in _says(program, heading, extents, grid, offset):
        lines += comment(units_of(grid.units).text(text))
    return lines


def _says(
    program: Program, heading: Heading, extents: Extents, grid: TickGrid, offset: bool
) -> Iterator[str]:
    if heading.warning is not None:
        yield FAILED
        if heading.warning.strip() and heading.warning.strip() != FAILED:
            yield f"Failed: {heading.warning}"
    if heading.risk:
        yield f"{RISK}: {heading.risk}"
    yield f"File: {program.stem}.nc"
    yield f"Job: {heading.title}"
    yield f"Plan: {heading.digest}"
    yield f"Set-up: {heading.place or _setup(program)}"
    yield f"Face up: {heading.face_up}"
    yield from _zero(program, offset, grid)
    if program.spindle:
        yield f"Cutter: {_cutter(program.cutter, grid)}"
        yield (
            f"Spindle: {program.cutting.rpm:.0f} rpm, {_feeds(program.cutting, grid)} "
            f"{grid.short}/min"
        )
    else:
        yield f"Cutter: {_cutter(program.cutter, grid)}; it only shows the place"
        yield "Spindle: off all the time"
    for axis, (low, high) in zip("XYZ", extents, strict=True):
        yield f"Extent {axis}: {grid.coordinate(low)} to {grid.coordinate(high)} {grid.short}"
    yield f"Minutes: {heading.minutes:.1f}, stops not counted"
    if len(program.passes) > 1 and program.spindle:
        yield f"Passes: {len(program.passes)}, with a stop after each but the last"
    for text in program.watch:
        yield f"Watch: {marked(text)}"
    yield from _CAUTIONS


def _setup(program: Program) -> str:
    if not program.spindle:
        return f"{program.setup}, rehearsal at the safe height"
    return f"{program.setup}, operation {program.order:02d} {program.name}"


def _zero(program: Program, offset: bool, grid: TickGrid) -> Iterator[str]:
    zero = program.zero
    yield f"Zero X, Y: {xy_words(zero, grid.plain)}"
    if zero.system != "G54":
        yield f"Zero in {zero.system}, not in G54: set X, Y and Z of {zero.system}"
    yield f"Zero Z: touch {marked(zero.touch)}"
    yield "Touch again: allowed" if zero.again else "Touch again: NEVER, one touch serves for all"
    yield _order(program, offset)
    if zero.by in ("bed", "edge"):
        return
    place = " ".join(
        f"{axis}{grid.coordinate(at)}"
        for axis, at in zip("XYZ", (zero.x, zero.y, zero.z), strict=True)
    )
    ground = (
        "on the bed" if program.setup != "D" else f"along the chord, Z {over_datum(program.setup)}"
    )
    yield f"Zero lies at {place} {grid.short} from the middle of the blank {ground}"


def _order(program: Program, offset: bool) -> str:
    """Return the line that says when Z is touched, and with which cutter."""
    cutter = f"T{program.cutter.number}"
    if offset:
        return (
            f"Order: load {cutter}, length offset H{program.cutter.number} on, run; Z was touched "
            "with any cutter so"
        )
    if program.kept:
        return f"Order: {cutter} still fitted as for {program.kept}.nc and Z as touched then, run"
    return f"Order: fit {cutter}, touch Z with it, run"


def _feeds(cutting: Cutting, grid: TickGrid) -> str:
    """Return the feed in words, and that of the finishing pass if it differs."""
    feeds = f"feed {grid.feed(cutting.feed)}"
    if cutting.finish == cutting.feed:
        return feeds
    return f"{feeds}, finishing pass {grid.feed(cutting.finish)}"


def _cutter(cutter: Cutter, grid: TickGrid) -> str:
    listed = f" as measured, listed as {grid.size(cutter.listed)}" if cutter.measured else ""
    form = cutter_words(cutter.facts(), ", diameter ", size=grid.size, measured=listed)
    lengths = (
        f"cutting length {grid.size(cutter.cutting_length)}, stick-out from "
        f"the collet {grid.size(cutter.stick_out)}"
    )
    return f"{form}, flutes {cutter.flutes}, {lengths}"
