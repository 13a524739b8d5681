"""Read-back of rehearsals: high up, the spindle off, and a stop at each place that they are to
show.

A rehearsal shows the shop whether the zero is right and what is in the way. One that shows a wrong
place, or not the whole area of the files, is worse than no rehearsal. The right places are worked
out here from the blank, the dowels and the motions of the files as read. Bed frame of the set-up,
mm.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, box

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.gcode.read.read_program import ReadProgram
from corepath.lengths import mm
from corepath.plain_text import sha256_of
from corepath.readback.motion.discipline import check_offsets, check_program
from corepath.readback.motion.first_way import check_look, first_look
from corepath.readback.result import Span
from corepath.readback.simulation_setup import SimulationSetup
from corepath.readback.words.heads import check_heads
from corepath.readback.words.spoken import check_spoken
from corepath.work.approach import seen_from
from corepath.work.works import Obstacle, Work

__all__ = ["check_rehearsals"]

_ALLOWED = 0.001  # mm: rounding of the text
_PLACE = 0.01  # mm: rounding of the text and chords of arcs
_LEAST = 0.01  # mm²: less of an obstacle is not in the way

_Places = NDArray[np.float64]


def check_rehearsals(
    works: Sequence[Work],
    shop: SimulationSetup,
    texts: Mapping[str, str],
    travelled: Mapping[str, Span],
    sha256: Mapping[str, str] | None = None,
    plan: str = "",
) -> Findings:
    """Read back rehearsals: the spindle stays off, nothing comes low, and each place is shown that
    must be.

    `texts` maps names of rehearsals to their texts. `works` are those still to be cut; `travelled`
    maps set-ups to the rectangle that their files travel, as read. `sha256` maps names to the
    digests that the rehearsals had when planned: one that is missing or has another is a finding.
    `plan` is the plan that their heads should name.
    """
    found = Findings()
    check_heads(texts, found, plan)
    for name, digest in (sha256 or {}).items():
        text = texts.get(name)
        if text is None:
            found.add("missing-file", "the rehearsal was planned and is not there", file=name)
        elif sha256_of(text) != digest:
            found.add("changed", "not the file that was planned", file=name)
    for name, text in texts.items():
        findings = Findings(name)
        setup = name.rpartition("/")[2][:1]
        mine = [work for work in works if work.setup == setup]
        _check(read_program(text, name), text, mine, shop, travelled.get(setup), findings)
        found.extend(findings)
    return found


def _check(
    program: ReadProgram,
    text: str,
    works: Sequence[Work],
    shop: SimulationSetup,
    span: Span | None,
    findings: Findings,
) -> None:
    if not works:
        findings.add("order", "no operation of the plan is of this set-up")
        return
    first = works[0]
    check_program(program, findings, 540 if first.zero.system == "G54" else 550, shop.exact_path)
    check_offsets(program, shop.length_offset, findings)
    if not program.count:
        findings.add("rehearsal", "it does not move")
        return
    _check_stops(program, shop.length_offset, findings)
    _check_heights(program, max(work.clear for work in works) - first.zero.z, shop, findings)
    shown = _at_first_stop(program, first)
    check_look(program, shown.approach, first.zero, findings)
    if shop.spoken is not None:
        check_spoken(text, shown, shop.spoken, findings, rehearsal=True, looks=True)
    _check_places(program, first, shop, span, findings)
    _check_up(text, shown, findings)


_UP = re.compile(r"\(MSG, Now over [^()]* of dowel [0-9]+, ([0-9.]+) (mm|in) up,")


def _check_up(text: str, shown: Work, findings: Findings) -> None:
    """Check that the height told over each dowel is that of the tip above the face, as at the first
    stop: a wrong one lets a wrong touch of Z pass for a right one."""
    high = 0.0 if shown.approach is None else shown.approach.above
    for number, line in enumerate(text.splitlines(), start=1):
        told = _UP.match(line)
        if told is None:
            continue
        unit, digits = (25.4, 3) if told[2] == "in" else (1.0, 1)
        if abs(float(told[1]) - high / unit) > 0.6 * 10.0**-digits:
            says = f"it says {told[1]} {told[2]} up over a dowel, and the tip stands {mm(high):.2f}"
            findings.add("words", f"{says} above the face", line=number)


def _check_stops(program: ReadProgram, offset: bool, findings: Findings) -> None:
    """Check that the rehearsal stops before it moves, for the cutter, and before it goes on from
    each place (not to the park position), so that someone can look."""
    stops = {event.index for event in program.events if event.name == "stop"}
    if not offset and 0 not in stops:
        says = "no stop before it moves: nobody fits the cutter and touches Z"
        findings.add("missing-stop", says, line=int(program.line[0]))
    for index in np.flatnonzero(program.kind == 0)[:-1].tolist():
        if index not in stops and index:
            says = "no stop before it goes on: nobody looks where the tip stands"
            findings.add("missing-stop", says, line=int(program.line[index]))


def _check_heights(
    program: ReadProgram, clear: float, shop: SimulationSetup, findings: Findings
) -> None:
    """Check that the rehearsal comes down slowly to the safe height `clear` (program coordinates)
    and never below it, with the spindle off, inside the machine's travel."""
    if program.kind[0] == 0:
        findings.add("rehearsal", "its first way down goes at rapid", line=int(program.line[0]))
    for event in program.events:
        if event.name == "spindle-on":
            findings.add("rehearsal", "it starts the spindle", line=event.line)
    sideways = (program.start[:, :2] != program.end[:, :2]).any(axis=1)
    unknown = sideways & np.isnan(program.end[:, 2])
    for index in np.flatnonzero(unknown)[: findings.keep]:
        findings.add(
            "start-unknown",
            "a move sideways before Z has been given",
            line=int(program.line[index]),
        )
    for index in np.flatnonzero(program.end[:, 2] < clear - _ALLOWED)[: findings.keep]:
        says = (
            f"it comes down to {mm(program.end[index, 2]):.3f}; the safe height is {mm(clear):.3f}"
        )
        findings.add(
            "rehearsal",
            says,
            line=int(program.line[index]),
            depth=float(clear - program.end[index, 2]),
        )
    for axis, room in enumerate(shop.travel):
        ends = program.end[~np.isnan(program.end[:, axis]), axis]
        if len(ends) and np.ptp(ends) > room + _ALLOWED:
            findings.add(
                "travel",
                f"{'XYZ'[axis]} needs {mm(np.ptp(ends)):.2f}, the machine has {mm(room):.2f}",
            )


def _at_first_stop(program: ReadProgram, work: Work) -> Work:
    """Return the work with the tip at its real height at the first stop to look: what the message
    says there must be true."""
    look = first_look(program)
    height = np.nan if look is None else float(program.end[look - 1, 2]) + work.zero.z
    return replace(work, approach=seen_from(work, height, np.inf))


def _check_places(
    program: ReadProgram, work: Work, shop: SimulationSetup, span: Span | None, findings: Findings
) -> None:
    """Check that the rehearsal shows each mark, then the rectangle that the files travel, then the
    obstacles in it."""
    stretches = list(_stretches(program, work))
    marks = list(_marks(work, shop))
    for number, (mark, says) in enumerate(marks):
        at = stretches[number][-1] if number < len(stretches) else None
        if at is None or not np.hypot(*(at - mark)) <= _PLACE:
            stands = (
                "stops nowhere"
                if at is None
                else f"stops at X{mm(at[0]):.3f} Y{mm(at[1]):.3f} from the middle"
            )
            says = f"it is to show {says} at X{mm(mark[0]):.3f} Y{mm(mark[1]):.3f}, and {stands}"
            findings.add("rehearsal", says)
    if span is None:
        return
    loops = [_loop(stretch) for stretch in stretches[len(marks) :]]
    # Compared by the Hausdorff distance of the outlines, so that corners count and the direction
    # and the place where the loop begins do not.
    if not loops or not loops[0].exterior.hausdorff_distance(box(*span).exterior) <= _PLACE:
        x0, y0, x1, y1 = (mm(value) for value in span)
        says = (
            f"it does not go round what the files travel, X{x0:.2f} to {x1:.2f} and Y{y0:.2f} "
            f"to {y1:.2f}"
        )
        findings.add("rehearsal", says)
    _check_loops(loops[1:], work.obstacles, span, findings)


def _stretches(program: ReadProgram, work: Work) -> Iterator[_Places]:
    """Yield the places (n, 2) that it passes between two stops: a rapid and what follows at feed.

    Where no motion lies between two stops, the second shows the place where the tip is already.
    """
    stops = sorted(event.index for event in program.events if event.name == "stop" and event.index)
    places = program.end[:, :2] + (work.zero.x, work.zero.y)
    for first, last in zip(stops, [*stops[1:], program.count], strict=True):
        if first == last < program.count:
            yield places[first - 1 : first]
            continue
        later = np.flatnonzero(program.kind[first + 1 : last] == 0)
        end = first + 1 + int(later[0]) if len(later) else last
        if end > first:
            yield places[first:end]


def _marks(work: Work, shop: SimulationSetup) -> Iterator[tuple[tuple[float, float], str]]:
    """Yield the places (x, y) by which X, Y and Z zero are checked, with their names."""
    if work.setup == "D":
        yield (0.0, 0.0), "the mark of the cradle"
    else:
        for number, (x, y) in enumerate(shop.dowels, start=1):
            yield (shop.mirrored(x, y) if work.setup == "B" else (x, y)), f"dowel {number}"
    if shop.touch_at is not None or shop.z_zero == "face":
        yield shop.touch(work.setup), "where Z is touched"


def _loop(places: _Places) -> Polygon:
    """Return the area that a path encloses; empty where it does not return to its beginning."""
    if len(places) < 4 or not np.hypot(*(places[-1] - places[0])) <= _PLACE:
        return Polygon()
    return Polygon(places)


def _check_loops(
    loops: Sequence[Polygon], obstacles: Sequence[Obstacle], span: Span, findings: Findings
) -> None:
    """Check that the loops go around each obstacle, as far as it lies in the rectangle, and around
    nothing else."""
    for loop in loops:
        if not any(box(*one.area.bounds).buffer(_PLACE).covers(loop) for one in obstacles):
            findings.add("rehearsal", "it goes round a place where no obstacle stands")
    for number, one in enumerate(obstacles, start=1):
        there = one.area.intersection(box(*span))
        if there.area > _LEAST and not any(
            loop.buffer(_PLACE).covers(box(*there.bounds)) for loop in loops
        ):
            findings.add(
                "rehearsal", f"it does not go round obstacle {number}, {mm(one.height):g~} high"
            )
