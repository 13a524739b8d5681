"""The boxes of the short sheet: what is written down in each set-up, and the lines that record it.

Boxes have the keys of the set-up sheet, so that a figure typed into one shows in the other. A
*line* is what `corepath record --from` reads: options of one command, of which those stay that
have their figures. One without a figure of its own, such as `--cut groove`, counts once its ticks
are made.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from corepath.motion.program import Setup
from corepath.stackup.measuring.places_to_measure import measuring_places
from corepath.views.sheet_html.facts import Facts
from corepath.views.sheet_html.page_parts import Block, Command, Measures, SheetMeasure, Slot
from corepath.views.sheet_html.pour_page import pour_page
from corepath.views.sheet_html.setup_steps import depth_measures, setup_measures
from corepath.views.sheet_html.skim_page import skim_page

__all__ = [
    "BoxGroup",
    "RecordLine",
    "box_groups",
    "command_lines",
    "cut_line",
    "measures_in",
    "open_measure",
    "took_line",
    "took_slot",
]

Piece = str | Slot


@dataclass(frozen=True, slots=True)
class BoxGroup:
    """Boxes with a title, and the commands that their figures stand in."""

    title: str
    slots: tuple[Slot, ...]
    kind: str = "boxes"


@dataclass(frozen=True, slots=True)
class RecordLine:
    """One line for the record: its options, each text and boxes in turn; `ticks` are those without
    which it does not count."""

    options: tuple[tuple[Piece, ...], ...]
    ticks: tuple[str, ...] = ()


def command_lines(command: Command) -> RecordLine:
    """Return the line for a command of the sheet, without the program and the job before it, and
    without what is cut, which the ticks of the files say."""
    options = [pieces for _, pieces in command.groups[1:]]
    return RecordLine(tuple(one for one in options if not str(one[0]).startswith("--cut ")))


def cut_line(operation: str, ticks: Iterable[str]) -> RecordLine:
    """Return the line that records an operation as cut, once its files are ticked."""
    return RecordLine(((f"--cut {operation}",),), tuple(ticks))


def took_slot(stem: str) -> Slot:
    """Return the box for the minutes that a file took."""
    return Slot(f"took-{stem}", f"minutes that {stem} took", "MINUTES", "min", short="took")


def took_line(stem: str) -> RecordLine:
    """Return the line for the minutes that a file took."""
    return RecordLine(((f"--minutes {stem} ", took_slot(stem)),))


def open_measure(measure: SheetMeasure) -> bool:
    """Whether it has boxes and is not recorded yet."""
    return bool(measure.command.slots) and not measure.done and not measure.screen


def blank_measure(facts: Facts) -> SheetMeasure | None:
    """Return the thickness of the uncut blank where callipers reach; None once it is known, or too
    late."""
    known = facts.stackup.heights.blank
    if known.measured or facts.settled.stage != "blank":
        return None
    pieces: list[Piece] = []
    record = facts.record
    for k, place in enumerate(measuring_places(facts.job, facts.board), start=1):
        if place.what == "height":
            continue
        x, y = record.shown(place.x), record.shown(place.y)
        name = f"X{x} Y{y}".replace("-", "−")
        slot = Slot(f"t{k}", f"thickness at {name}", "T", facts.unit, short=name)
        pieces += [f" --thickness {x} {y} ", slot]
    return SheetMeasure("Thickness of the blank, by callipers", facts.command(*pieces))


def box_groups(facts: Facts, setup: Setup, most: int) -> list[BoxGroup]:
    """Return the groups of boxes of a set-up's page, each with at most `most` boxes; what is
    recorded already has none."""
    merged: dict[str, list[Slot]] = {}
    for title, measure in _measured(facts, setup):
        merged.setdefault(title, []).extend(measure.command.slots)
    return [_limited(title, slots, most) for title, slots in merged.items()]


def _measured(facts: Facts, setup: Setup) -> list[tuple[str, SheetMeasure]]:
    """Return what is measured in a set-up and not recorded yet, with a title for each."""
    found: list[tuple[str, SheetMeasure]] = []
    if setup == "A":
        blank = blank_measure(facts)
        depths = depth_measures(facts)
        found += [] if blank is None else [("Thickness of the blank, before", blank)]
        found += [(_DEPTHS[min(k, 1)], one) for k, one in enumerate(depths)]
        pour = measures_in(pour_page(facts).blocks)
        found += [(_FILL, one) for one in pour if not _topping(one)]
    if setup == "B":
        inserts = measures_in(setup_measures(facts, "B"))
        found += zip(_SKIM, measures_in(skim_page(facts).blocks), strict=True)
        found += zip(_INSERTS, inserts, strict=False)
    return [(title, one) for title, one in found if open_measure(one)]


_DEPTHS = ("Depth of the groove from the raw top", "Depth of the plug pockets")
_FILL = "Cured resin below the raw top, lowest point; minus: proud"
_SKIM = (
    "Heights: where the skim stopped, the face as touched for the inserts",
    "Thickness after it",
)
_INSERTS = (_SKIM[0], "Seats and bores from the skimmed face")


def _topping(measure: SheetMeasure) -> bool:
    """Whether it is the top-up of a casting, which has no place on paper: few cores need one."""
    return any(slot.key == "top-name" for slot in measure.command.slots)


def measures_in(blocks: Sequence[Block]) -> list[SheetMeasure]:
    """Return all measures of some blocks."""
    return [one for block in blocks if isinstance(block, Measures) for one in block.measures]


def _limited(title: str, slots: Sequence[Slot], most: int) -> BoxGroup:
    """Return a group; where it has more than `most` boxes the title says where the others are."""
    if len(slots) <= most:
        return BoxGroup(title, tuple(slots))
    more = f"{title} ({len(slots) - most} more on the full sheet)"
    return BoxGroup(more, tuple(slots[:most]))
