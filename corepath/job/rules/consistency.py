"""Values of a job that contradict each other or are impossible, as far as can be seen without
geometry.

A wrong *depth* is not among them: it is a failed check later on. Lengths in mm. Each contradiction
is (path, what is wrong, what is allowed); the loader adds value, file and line. Every rule looks
only at valid sections, so one run reports the faults of all sections.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, TypeVar

from corepath.job.model import (
    BedSection,
    BlankSection,
    BoardSection,
    CastSection,
    CutterSection,
    DeckSection,
    DowelSection,
    GrooveSection,
    HardwareSection,
    InsertSection,
    LayupSection,
    MachineSection,
    MillingSection,
    OutlineSection,
    PlacedSection,
    PlugSection,
    ResinSection,
    SkimSection,
    SkinSection,
)
from corepath.job.rules.bed_rules import bed_contradictions, dowel_contradictions
from corepath.job.rules.deck_rules import deck_contradictions
from corepath.job.rules.own_tables import own_contradictions
from corepath.job.rules.probe_rules import probe_contradictions
from corepath.job.rules.waste_rules import waste_contradictions
from corepath.job.tables.builtin import hardware, resins, woods
from corepath.job.text.positions import Path
from corepath.motion.cutter import end_faults

__all__ = ["Contradiction", "ValidSections", "contradictions"]

Contradiction = tuple[Path, str, str]
_Section = TypeVar("_Section")

# Sizes beyond which a figure is a slip of the pen (or would fill memory), mm; common practice, no
# source.
LARGEST_BLANK = (5000.0, 2500.0, 300.0)
LEAST_STEP = 0.05
MOST_PASSES = 99
LEAST_CUTTER = 0.2
LEAST_LAYER = 0.05
LEAST_SCALLOP = 0.001
LARGEST_RADIUS = 10_000.0
SLOWEST_RAPID = 100.0  # mm/min
LEAST_ACCEL = 1.0  # mm/s²


@dataclass(frozen=True, slots=True)
class ValidSections:
    """The sections of a job that are valid on their own, by name; in arrays, None in place of an
    invalid one."""

    sections: Mapping[str, Any]

    def one(self, name: str, kind: type[_Section]) -> _Section | None:
        """Return the section of this name, or None where it is missing or invalid."""
        found = self.sections.get(name)
        return found if isinstance(found, kind) else None

    def all(self, name: str, kind: type[_Section]) -> Iterator[tuple[int, _Section]]:
        """Yield the valid tables of an array, each with its index from 0."""
        for place, row in enumerate(self.sections.get(name) or ()):
            if isinstance(row, kind):
                yield place, row


def contradictions(parts: ValidSections) -> list[Contradiction]:
    """Return all contradictions, in a fixed order."""
    return [found for rule in _RULES for found in rule(parts)]


def _board(parts: ValidSections) -> Iterator[Contradiction]:
    board = parts.one("board", BoardSection)
    if board and board.edge_thickness > board.thickness:
        says = "the edge is thicker than the board"
        yield ("board", "edge_thickness"), says, f"at most board.thickness, {board.thickness:g} mm"


def _mirror(parts: ValidSections) -> Iterator[Contradiction]:
    board = parts.one("board", BoardSection)
    outline, deck = parts.one("outline", OutlineSection), parts.one("deck", DeckSection)
    if board is None or board.mirror is None:
        return
    files = {
        "outline.dxf": outline and outline.dxf,
        "deck.mesh": deck and deck.mesh,
        "deck.grid": deck and deck.grid,
    }
    for key, named in files.items():
        if named:
            says = f"does not change a file, and {key} names one"
            yield ("board", "mirror"), says, "stations or points; or a mirrored file"


def _outline(parts: ValidSections) -> Iterator[Contradiction]:
    outline = parts.one("outline", OutlineSection)
    if outline is None:
        return
    ways = {"stations": outline.stations, "points": outline.points, "dxf": outline.dxf}
    given = [name for name, value in ways.items() if value is not None]
    if len(given) != 1:
        says = (
            "gives no outline"
            if not given
            else f"gives the outline more than once: {', '.join(given)}"
        )
        yield ("outline",), says, "exactly one of stations, points, dxf"
    if outline.smooth and outline.points is None and given:
        yield ("outline", "smooth"), "goes with outline.points only", "smooth = true beside points"
    for name, value in (("layer", outline.layer), ("dxf_units", outline.dxf_units)):
        if value is not None and outline.dxf is None and given:
            yield ("outline", name), "goes with outline.dxf only", f"{name} beside dxf"
    beside = ("template_layer", "template_units", "template_at")
    for name in beside if outline.template is None else ():
        if name in outline.model_fields_set:
            says = "goes with outline.template only"
            yield ("outline", name), says, f"{name} beside template"


def _deck(parts: ValidSections) -> Iterator[Contradiction]:
    deck = parts.one("deck", DeckSection)
    if deck is None:
        return
    yield from deck_contradictions(deck)
    groove, skin = parts.one("groove", GrooveSection), parts.one("skin", SkinSection)
    yield from waste_contradictions(deck, groove, skin)
    if deck.scallop < LEAST_SCALLOP:
        yield ("deck", "scallop"), "is too small to be cut", f"at least {LEAST_SCALLOP:g} mm"
    if deck.least_radius > LARGEST_RADIUS:
        yield ("deck", "least_radius"), "is too large to be meant", f"at most {LARGEST_RADIUS:g} mm"


def _blank(parts: ValidSections) -> Iterator[Contradiction]:
    blank = parts.one("blank", BlankSection)
    if blank is None:
        return
    for name, size, largest in zip(
        ("length", "width", "thickness"),
        (blank.length, blank.width, blank.thickness),
        LARGEST_BLANK,
        strict=True,
    ):
        if size > largest:
            yield ("blank", name), "is too large to be meant", f"at most {largest:g} mm"
    if blank.wood not in woods():
        yield ("blank", "wood"), f"unknown wood{_meant(blank.wood, woods())}", ", ".join(woods())


def _floors(parts: ValidSections) -> Iterator[Contradiction]:
    blank, groove = parts.one("blank", BlankSection), parts.one("groove", GrooveSection)
    if blank is None:
        return
    floors: list[tuple[Path, float | None]] = [
        (("groove", "floor"), groove.floor if groove else None)
    ]
    floors += [
        (("plug", place, "floor"), plug.floor) for place, plug in parts.all("plug", PlugSection)
    ]
    for path, floor in floors:
        if floor is not None and floor >= blank.thickness:
            says = "the floor lies above the raw top: nothing would be cut"
            yield path, says, f"less than blank.thickness, {blank.thickness:g} mm"


def _places(parts: ValidSections) -> Iterator[Contradiction]:
    rows: list[tuple[str, int, PlacedSection]] = [
        ("plug", place, plug) for place, plug in parts.all("plug", PlugSection)
    ]
    rows += [("insert", place, insert) for place, insert in parts.all("insert", InsertSection)]
    for table, number, row in rows:
        if not row.at:
            yield (table, number, "at"), "missing key", "[[x, y], …], or a pattern"
        one = row.pattern
        for way, count in enumerate((one.columns, one.rows) if one else ()):
            if one and count > 1 and one.pitch[way] == 0.0:
                says = f"puts {count} places on one spot"
                yield (table, number, "pattern", "pitch", way), says, "more than 0"


def _plugs(parts: ValidSections) -> Iterator[Contradiction]:
    for place, plug in parts.all("plug", PlugSection):
        if plug.mirror and plug.slot and plug.angle % 90.0:
            says = "does not turn a slot, whose mirror image lies at the opposite angle"
            yield (
                ("plug", place, "mirror"),
                says,
                f"another [[plug]] for the images, with angle = {-plug.angle:g}",
            )
        if plug.bolt_hole >= plug.diameter:
            says = "the bolt hole is as wide as the plug or wider"
            yield (
                ("plug", place, "bolt_hole"),
                says,
                f"less than its diameter, {plug.diameter:g} mm",
            )
        if plug.slot is not None and plug.slot <= plug.diameter:
            says = "the slot is no longer than it is wide"
            yield ("plug", place, "slot"), says, f"more than its diameter, {plug.diameter:g} mm"


def _names(parts: ValidSections) -> Iterator[Contradiction]:
    seen: dict[str, str] = {}
    rows: list[tuple[str, int, str]] = [
        ("plug", place, plug.name) for place, plug in parts.all("plug", PlugSection)
    ]
    rows += [("insert", place, insert.name) for place, insert in parts.all("insert", InsertSection)]
    for table, place, name in rows:
        if name.lower() in seen:
            yield (
                (table, place, "name"),
                f"{seen[name.lower()]} has this name already",
                "a name of its own",
            )
        else:
            seen[name.lower()] = f"{table}[{place + 1}]"


def _own_rows(parts: ValidSections) -> Iterator[Contradiction]:
    yield from own_contradictions(
        list(parts.all("resin", ResinSection)), list(parts.all("hardware", HardwareSection))
    )


def _inserts(parts: ValidSections) -> Iterator[Contradiction]:
    names = (*(row.name for _, row in parts.all("hardware", HardwareSection)), *hardware())
    for place, insert in parts.all("insert", InsertSection):
        at = ("insert", place)
        if insert.hardware is not None and insert.hardware not in names:
            says = f"unknown hardware{_meant(insert.hardware, names)}"
            yield (*at, "hardware"), says, ", ".join(names)
            continue
        if insert.flange <= insert.barrel:
            says = "the flange is no wider than the barrel"
            yield (*at, "flange"), says, f"more than the barrel, {insert.barrel:g} mm"
        if insert.flange_thickness >= insert.length:
            says = "the flange is as thick as the insert is long"
            yield (
                (*at, "flange_thickness"),
                says,
                f"less than its length over all, {insert.length:g} mm",
            )


def _dowels(parts: ValidSections) -> Iterator[Contradiction]:
    bed, blank = parts.one("bed", BedSection), parts.one("blank", BlankSection)
    if bed is not None:
        yield from bed_contradictions(bed)
    milling = parts.one("milling", MillingSection)
    if milling is not None:
        dowels = list(parts.all("dowel", DowelSection))
        yield from dowel_contradictions(bed, blank, milling.into_bed, dowels)


def _skim(parts: ValidSections) -> Iterator[Contradiction]:
    skim, blank, board = (
        parts.one("skim", SkimSection),
        parts.one("blank", BlankSection),
        parts.one("board", BoardSection),
    )
    if skim is None:
        return
    at = ("skim", "step")
    if skim.step < LEAST_STEP:
        yield at, "is too small to be meant", f"at least {LEAST_STEP:g} mm"
    elif skim.step > skim.largest_step:
        yield (
            at,
            "is larger than the largest step",
            f"at most skim.largest_step, {skim.largest_step:g} mm",
        )
    elif blank and skim.step > blank.thickness:
        yield at, "is thicker than the blank", f"less than blank.thickness, {blank.thickness:g} mm"
    elif blank and board and (blank.thickness - board.thickness) / skim.step > MOST_PASSES:
        least = (blank.thickness - board.thickness) / MOST_PASSES
        yield at, f"makes more than {MOST_PASSES} passes", f"at least {least:.3g} mm"


def _cast(parts: ValidSections) -> Iterator[Contradiction]:
    cast = parts.one("cast", CastSection)
    if cast is None:
        return
    names = (*(row.name for _, row in parts.all("resin", ResinSection)), *resins())
    if cast.resin not in names:
        yield ("cast", "resin"), f"unknown resin{_meant(cast.resin, names)}", ", ".join(names)
    if cast.pour_short < 0 and cast.flush == "none":
        yield (
            ("cast", "pour_short"),
            "stands proud of the raw top, which needs a flush",
            'at least 0, or flush = "local"',
        )
    if not 1 / 20 <= cast.ratio[0] / cast.ratio[1] <= 20:
        yield ("cast", "ratio"), "no resin is mixed like that", "parts A : B from 1 : 20 to 20 : 1"
    for place, density in enumerate(cast.density):
        if not 0.3 <= density <= 3.0:
            yield (
                ("cast", "density", place),
                "is no density of a resin in g/cm³",
                "from 0.3 to 3 g/cm³",
            )
    if cast.extra > 2.0:
        yield ("cast", "extra"), "is a share, not per cent", "from 0 to 2; 0.15 is 15 %"


def _machine(parts: ValidSections) -> Iterator[Contradiction]:
    machine = parts.one("machine", MachineSection)
    if machine is None:
        return
    slowest, fastest = machine.spindle_rpm
    if slowest > fastest:
        yield ("machine", "spindle_rpm"), "the slowest comes first", "[slowest, fastest]"
    if machine.length_offset and machine.tool_change != "m6":
        says = (
            'length_offset calls a length from the control\'s table, which needs tool_change = "m6"'
        )
        yield ("machine", "length_offset"), says, 'false, or tool_change = "m6"'
    if machine.z_zero == "face" and machine.touch_at is None:
        says = 'z_zero = "face" needs machine.touch_at, the place where the face is touched'
        yield ("machine", "touch_at"), says, "[x, y]"
    yield from probe_contradictions(machine)
    if machine.rapid < SLOWEST_RAPID:
        yield ("machine", "rapid"), "is too slow to be meant", f"at least {SLOWEST_RAPID:g} mm/min"
    if machine.accel < LEAST_ACCEL:
        yield ("machine", "accel"), "is too small to be meant", f"at least {LEAST_ACCEL:g} mm/s²"
    if machine.safe_z >= machine.travel[2]:
        yield (
            ("machine", "safe_z"),
            "is more than the Z travel",
            f"less than {machine.travel[2]:g} mm",
        )


def _layup(parts: ValidSections) -> Iterator[Contradiction]:
    layup = parts.one("layup", LayupSection)
    stations = layup.rocker if layup else None
    for place, (before, after) in enumerate(
        zip(stations or (), (stations or ())[1:], strict=False)
    ):
        if after[0] <= before[0]:
            yield (
                ("layup", "rocker", place + 1),
                "x must grow from station to station",
                f"more than {before[0]:g} mm",
            )
    board = parts.one("board", BoardSection)
    if layup and board and layup.neutral is not None and layup.neutral > board.thickness:
        says = "the plane that keeps its length lies outside the core"
        yield ("layup", "neutral"), says, f"at most board.thickness, {board.thickness:g} mm"
    if layup and layup.form_skin >= layup.rib_height:
        says = "nothing is left of the form's ribs under their covering"
        yield ("layup", "form_skin"), says, f"less than layup.rib_height, {layup.rib_height:g} mm"


def _cutters(parts: ValidSections) -> Iterator[Contradiction]:
    machine = parts.one("machine", MachineSection)
    seen: dict[int, int] = {}
    for place, cutter in parts.all("cutter", CutterSection):
        at = ("cutter", place)
        if cutter.number in seen:
            says = f"cutter[{seen[cutter.number] + 1}] has this number already"
            yield (*at, "number"), says, "a number of its own"
        seen.setdefault(cutter.number, place)
        for end in end_faults(cutter.cutter, cutter.corner_radius or None):
            yield (*at, end.key), end.message, end.allowed
        yield from _lengths(at, cutter)
        slowest, fastest = sorted(machine.spindle_rpm) if machine else (0.0, math.inf)
        if cutter.rpm is not None and not slowest <= cutter.rpm <= fastest:
            says = "is a speed that the spindle does not run"
            yield (*at, "rpm"), says, f"machine.spindle_rpm, {slowest:g} to {fastest:g}"
        if machine and cutter.feed is not None and cutter.feed > machine.rapid:
            yield (
                (*at, "feed"),
                "is faster than the machine moves",
                f"machine.rapid, at most {machine.rapid:g} mm/min",
            )


def _lengths(at: Path, cutter: CutterSection) -> Iterator[Contradiction]:
    if cutter.diameter < LEAST_CUTTER:
        yield (*at, "diameter"), "is too small to be meant", f"at least {LEAST_CUTTER:g} mm"
    if cutter.stick_out < cutter.cutting_length:
        says = "the cutter sticks out less than its edges are long"
        yield (*at, "stick_out"), says, f"at least its cutting_length, {cutter.cutting_length:g} mm"
    if cutter.chip_load is not None and cutter.chip_load >= cutter.diameter / 2:
        yield (
            (*at, "chip_load"),
            "is more than half the diameter",
            f"less than {cutter.diameter / 2:g} mm",
        )
    if cutter.depth_a_pass is not None and cutter.depth_a_pass > cutter.cutting_length:
        says = "is deeper than the edges are long"
        yield (
            (*at, "depth_a_pass"),
            says,
            f"at most its cutting_length, {cutter.cutting_length:g} mm",
        )
    if cutter.depth_a_pass is not None and cutter.depth_a_pass < LEAST_LAYER:
        yield (*at, "depth_a_pass"), "is too small to be meant", f"at least {LEAST_LAYER:g} mm"


def _meant(name: str, known: Iterable[str]) -> str:
    """Return in words the known name nearest to what was typed; order and capitals do not matter.

    A word with a digit in it is a size. A name of another size is never suggested, nor one with a
    size where none was typed.
    """
    words = _words(name)
    sizes = _sizes(words)
    names = {
        " ".join(_words(one)): one
        for one in known
        if sizes <= set(_words(one)) and bool(sizes) == bool(_sizes(_words(one)))
    }
    near = get_close_matches(" ".join(words), names, n=1, cutoff=0.5)
    return f"; did you mean {names[near[0]]}?" if near else ""


def _sizes(words: Iterable[str]) -> set[str]:
    return {word for word in words if any(letter.isdigit() for letter in word)}


def _words(name: str) -> list[str]:
    """Return the words of a name in lower case and alphabetical order: the same for `M6 tee nut`
    and `tee-nut-M6`."""
    return sorted(word for word in re.split(r"[\s_-]+", name.lower()) if word)


_RULES: Sequence[Callable[[ValidSections], Iterator[Contradiction]]] = (
    _board, _mirror, _outline, _deck, _blank, _floors, _places, _plugs, _names, _own_rows, _inserts,
    _dowels, _skim, _cast, _machine, _layup, _cutters,
)  # fmt: skip
