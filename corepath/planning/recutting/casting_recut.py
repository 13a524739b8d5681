"""One plug's pocket, or a length of the groove, cut deeper or cut anew.

Before the pour the floor is there already, at the depth that was measured or that the stack-up
expects at least: the file begins there. Once resin is in, it begins at the raw top and cuts it out,
so that the place can be poured anew. Z zero is the raw top beside the place, as the foot of the
depth gauge stands on it: so the depth does not hang on thickness and gap. Bed frame of set-up A,
mm. The read-back cuts a virtual blank in which that much is cut and nothing else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from corepath.board.features import Board, Casting
from corepath.errors import Fault, InputError
from corepath.lengths import Said, marked, mm
from corepath.operations import programs
from corepath.planning.bed.bed_proof import prove
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.planning.progress import Progress, quiet
from corepath.planning.recutting.recut_file import (
    Recut,
    refuse_depth,
    spoilt,
    text_of,
    works_again,
)
from corepath.stackup import Check
from corepath.stackup.checks.judge import judge
from corepath.stackup.linear import Linear
from corepath.work.approach import seen_from
from corepath.work.bed_works import BedBlock, BedWork
from corepath.work.cutting.running import CutRequest, run
from corepath.work.works import Pocket, Work

__all__ = ["Length", "recut_groove", "recut_plug"]

Length = tuple[tuple[float, float], tuple[float, float]]
"""Two places (x, y) in the groove, board frame, mm; the shorter way round from one to the other."""

BESIDE = 3.0
"""mm that a place may lie beside the groove and still be taken as one in it."""

_APART = 6.0
"""mm from the wall to the place that is touched (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class _Place:
    """What is cut: `area` of a casting, in words and in a file's name; where Z is touched, and
    places (x, y) along it."""

    casting: Casting
    area: Polygon
    words: str
    stem: str
    touch: tuple[float, float]
    points: tuple[tuple[float, float], ...]

    @property
    def operation(self) -> str:
        return "groove" if self.casting.kind == "groove" else "plug-pockets"


def recut_plug(path: Path, plug: str, depth: float, progress: Progress = quiet) -> Recut:
    """Return the file that makes one plug's pocket `depth` mm deep below the raw top.

    Raises InputError for a job with faults, a plug that is not there or not cut yet, once the blank
    is turned over, and for a depth that is there already or that no cutter reaches.
    """
    prepared = _ready(path, "--plug", plug, progress)
    plugs = {one.id: one for one in prepared.board.castings if one.plug is not None}
    if plug not in plugs:
        says = "this job has no such plug"
        raise InputError([Fault("--plug", says, plug, ", ".join(plugs) or "none at all")])
    casting = plugs[plug]
    x, y = casting.area.centroid.coords[0]
    reach = casting.half_span + _APART
    touch = _on_wood(prepared.board, (x, y), reach)
    words, stem = f"pocket {plug}", f"recut-{plug}-pocket"
    place = _Place(casting, casting.area, words, stem, touch, ((x, y),))
    return _recut(prepared, path, place, depth)


def recut_groove(path: Path, length: Length, depth: float, progress: Progress = quiet) -> Recut:
    """Return the file that makes a length of the groove `depth` mm deep below the raw top; raises
    as `recut_plug`, and for places that do not lie in the groove."""
    typed = " ".join(f"{mm(part):g}" for at in length for part in at)
    prepared = _ready(path, "--groove", typed, progress)
    groove = prepared.board.castings[0]
    for at in length:
        off = groove.area.distance(Point(at))
        if off > BESIDE:
            says = f"X{mm(at[0]):g} Y{mm(at[1]):g} lies {mm(off):.1f~} beside the groove"
            raise InputError([Fault("--groove", says, typed, "X1 Y1 X2 Y2 in the groove")])
    line = _between(LineString(prepared.board.outline.exterior.coords), length)
    section = prepared.job.groove
    if line.length < section.width:
        says = f"is {mm(line.length):.1f~} long"
        least = f"at least {mm(section.width):g~}, the width of the groove"
        raise InputError([Fault("--groove", says, typed, least)])
    area = _along(groove.area, line, max(section.inside, section.outside))
    points = tuple(
        (float(x), float(y))
        for x, y in (line.interpolate(k / 8.0, normalized=True).coords[0] for k in range(9))
    )
    touch = _on_wood(prepared.board, points[4], section.width + _APART)
    place = _Place(groove, area, "a length of the groove", "recut-groove", touch, points)
    return _recut(prepared, path, place, depth)


def _ready(path: Path, option: str, typed: str, progress: Progress) -> Prepared:
    """Return the job, where its castings are cut and the raw top is still up."""
    prepared = prepare(path, progress)
    prepared.refuse_contradictions()
    settled = prepared.known.settled
    if settled.skimmed or settled.stopped:
        says = "the skim has begun: the blank lies on its raw top, and its plane ends the depth"
        raise InputError([Fault(option, says, typed, "before the blank is turned over")])
    if "groove" not in prepared.done and not settled.groove_depth and option == "--groove":
        says, allowed = "the groove is not recorded as cut", "corepath record JOB --cut groove"
        raise InputError([Fault(option, f"{says}: its own file makes it", typed, allowed)])
    cut = {"plug-pockets", "groove"} & prepared.done or settled.pocket_depth
    if not cut and option == "--plug":
        says, allowed = "the pockets are not recorded as cut", "corepath record JOB --cut ..."
        raise InputError([Fault(option, f"{says}: their own file makes it", typed, allowed)])
    return prepared


def _between(ring: LineString, length: Length) -> LineString:
    """Return the shorter part of a closed line between the places nearest to two others."""
    one, other = sorted(ring.project(Point(at)) for at in length)
    part = substring(ring, one, other)
    if other - one <= ring.length / 2.0:
        return LineString(part.coords)
    ends = (*substring(ring, other, ring.length).coords, *substring(ring, 0.0, one).coords[1:])
    return LineString(ends)


def _along(ring: Polygon, line: LineString, reach: float) -> Polygon:
    """Return the part of the groove along a line."""
    found: BaseGeometry = line.buffer(reach + 0.01, cap_style="flat", quad_segs=64)
    return max(_polygons(found.intersection(ring)), key=lambda part: part.area)


def _polygons(area: BaseGeometry) -> list[Polygon]:
    parts = getattr(area, "geoms", [area])
    return [part for part in parts if isinstance(part, Polygon) and not part.is_empty]


def _on_wood(board: Board, at: tuple[float, float], reach: float) -> tuple[float, float]:
    """Return a place about `reach` from another that lies on the raw top, nearest to the middle."""
    taken = [casting.area for casting in board.castings]
    taken += [Point(one.at).buffer(one.diameter / 2.0) for one in board.dowels]
    inner = board.blank.buffer(-_APART / 2.0)
    around = [
        (at[0] + reach * math.cos(turn), at[1] + reach * math.sin(turn))
        for turn in np.linspace(0.0, 2.0 * math.pi, 16, endpoint=False)
    ]
    free = [
        place
        for place in around
        if inner.contains(Point(place))
        and min(area.distance(Point(place)) for area in taken) >= _APART / 2.0
    ]
    return min(free or [(0.0, 0.0)], key=lambda place: round(math.hypot(*place), 6))


def _now(prepared: Prepared, place: _Place) -> tuple[float, bool]:
    """Return the least depth that is there, mm below the raw top, and whether resin is in it."""
    settled, casting = prepared.known.settled, place.casting
    poured = casting.id in settled.fill or any(one == casting.id for one, _, _ in settled.top_ups)
    if casting.kind == "groove":
        near = [
            depth
            for x, y, depth in settled.groove_depth
            if place.area.distance(Point(x, y)) <= BESIDE
        ]
    else:
        near = [depth for one, depth in settled.pocket_depth.items() if one == casting.id]
    if near:
        return min(near), poured
    heights = prepared.stackup.heights
    expected = (
        heights.depth(casting.floor, place.operation, at, casting.id).worst()[0]
        for at in place.points
    )
    return min(expected), poured


def _recut(prepared: Prepared, path: Path, place: _Place, depth: float) -> Recut:
    works = works_again(prepared, place.operation)
    now, poured = _now(prepared, place)
    # of two cutters that share the pockets the smaller one comes into all corners
    work = works[-1]
    refuse_depth(prepared, place.words, work, depth, 0.0 if poured else now)
    top = prepared.stackup.heights.raw_top(place.touch).nominal
    pocket = Pocket(place.casting.id, place.area, top if poured else top - now, top - depth)
    one = _work(prepared, work, place, top, pocket)
    if poured:
        section = next(one for one in prepared.job.cutter if one.number == work.cutter.number)
        wall = min(place.casting.half_span, math.inf)
        one = replace(one, cutting=run(prepared.job, section, CutRequest(wall=wall, resin=True)))
    after = _after(prepared, path, place, depth)
    program = replace(programs(one)[0], stem=place.stem)
    way = f"{place.words} cut {'anew, its resin with it' if poured else 'deeper'}"
    text, spent = text_of(after, prepared.digest, program, "A", way)
    radius = one.cutter.radius
    reached = place.area.buffer(-radius).buffer(radius, quad_segs=64).intersection(place.area)
    # the ends of a length of groove are cut across: their corners, which the cutter does not come
    # into, stay as they are, on the virtual blank at full height
    there = () if poured else tuple((part, top - now) for part in _polygons(reached))
    blank = prepared.job.blank
    body = BedBlock(blank.length, blank.width, top, (one.zero.x, one.zero.y, top))
    asked = BedWork("recut", way, one, body, reached, -depth, "--depth")
    proof = prove(prepared.job, asked, program, text, there)
    recorded = _recorded(place, poured)
    spoils = (*_too_thin(prepared, place, depth), *spoilt(prepared, after))
    way_out = "a thicker blank, or less depth with the skim stopped lower"
    name = f"{place.stem}.nc"
    then = "cut, pour anew and let it cure" if poured else "cut, measure"
    touched = Said(f"{marked(one.zero.touch)}, {then}")
    return Recut(name, text, spent, proof, spoils, way_out, touched, recorded)


def _recorded(place: _Place, poured: bool) -> tuple[str, ...]:
    """Return the words that record the place once it is cut: its depth or, where resin was cut out,
    the new pour."""
    if poured:
        return "--top-up", place.casting.id, "GRAMS"
    if place.operation == "plug-pockets":
        return "--pocket-depth", place.casting.id, "D"
    x, y = place.points[len(place.points) // 2]
    return "--groove-depth", Said(f"{mm(x):.1f}"), Said(f"{mm(y):.1f}"), "D"


def _work(prepared: Prepared, work: Work, place: _Place, top: float, pocket: Pocket) -> Work:
    """Return the work that cuts this pocket alone, Z touched on the raw top beside it."""
    x, y = place.touch
    words = f"the raw top at X{mm(x):.0f} Y{mm(y):.0f}, beside {place.words}"
    zero = replace(work.zero, z=top, touch=words, again=True, on="the raw top", by="dowels")
    depth, begun = top - pocket.floor, top - pocket.top
    watch = f"only {place.words}, from {mm(begun):.2f} to {mm(depth):.2f} below the raw top"
    made = replace(
        work,
        pockets=(pocket,),
        zero=zero,
        stock_top=top,
        lowest=pocket.floor,
        watch=(watch,),
        look=(x, y, top),
        kept="",
    )
    machine = prepared.job.machine
    return replace(made, approach=seen_from(made, made.clear, machine.rapid))


def _after(prepared: Prepared, path: Path, place: _Place, depth: float) -> Prepared:
    """Return the job as it is once the place has its new depth."""
    settled = prepared.known.settled
    if place.operation == "groove":
        others = tuple(
            one
            for one in settled.groove_depth
            if place.area.distance(Point(one[0], one[1])) > BESIDE
        )
        x, y = place.points[len(place.points) // 2]
        settled = replace(settled, groove_depth=(*others, (x, y, depth)))
    else:
        settled = replace(settled, pocket_depth={**settled.pocket_depth, place.casting.id: depth})
    fill = {one: figure for one, figure in settled.fill.items() if one != place.casting.id}
    known = replace(prepared.known, settled=replace(settled, fill=fill))
    return prepare_job(prepared.resolved, path.parent, known)


def _too_thin(prepared: Prepared, place: _Place, depth: float) -> list[Check]:
    """Return the check of the wood left under the place where that fails."""
    heights, tolerances = prepared.stackup.heights, prepared.job.tolerances
    error = Linear.term("touch for it", tolerances.touch) + Linear.term(
        "machine in it", tolerances.machine
    )
    found = []
    for at in place.points:
        left = heights.thickness(at) + error - depth
        check = judge(
            "floor",
            left,
            prepared.job.groove.least_floor,
            message=f"wood left under {place.words}, {mm(left.worst()[0]):.2f} in the worst case",
            where=f"X{mm(at[0]):.1f} Y{mm(at[1]):.1f}",
        )
        found += [check] if check.verdict == "fail" else []
    return found[:1]
