"""What a page of the set-up sheet is made of: text, tables, ticks, boxes to fill in, commands,
drawings.

A *tick* is a small box that the person at the machine marks when a step is done; a *slot* a box for
a figure that is measured. Both have keys that are unique in the sheet and do not hang on texts, so
that what was ticked stays. A command holds slots: what is typed in the box stands in the command.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Banner", "Block", "Break", "Cell", "Command", "Drawing", "Link", "Measures", "Notes", "Page",
    "Rows", "SheetMeasure", "SheetStep", "Slot", "State", "Steps", "Table", "Tick",
]  # fmt: skip

State = Literal["done", "now", "ahead", ""]
"""How far the work is on a page, as far as the record tells."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A box for one figure: `label` is its accessible name, `letter` stands in the command until it
    is filled in.

    `short` is what stands beside it where the text above says the rest; the label where empty.
    """

    key: str
    label: str
    letter: str
    unit: str = ""
    short: str = ""
    kind: str = "slot"


@dataclass(frozen=True, slots=True)
class Tick:
    """A box to mark; `done` where the record says so already."""

    key: str
    label: str
    done: bool = False
    kind: str = "tick"


@dataclass(frozen=True, slots=True)
class Command:
    """A command line, or lines of a file: text and slots in turn."""

    pieces: tuple[str | Slot, ...]

    @property
    def groups(self) -> tuple[tuple[str, tuple[str | Slot, ...]], ...]:
        """(what stands before, pieces) of each option with its figures: a line may break between
        them only."""
        found: list[tuple[str, list[str | Slot]]] = [("", [])]
        for piece in self.pieces:
            if isinstance(piece, Slot):
                found[-1][1].append(piece)
                continue
            first, *others = re.split(r"( (?=--)|\n)", piece)
            found[-1][1].append(first)
            found += [(others[k], [others[k + 1]]) for k in range(0, len(others), 2)]
        return tuple((before, tuple(pieces)) for before, pieces in found)

    @property
    def slots(self) -> tuple[Slot, ...]:
        return tuple(piece for piece in self.pieces if isinstance(piece, Slot))


@dataclass(frozen=True, slots=True)
class Link:
    """Words that lead to a page beside this one."""

    text: str
    to: str
    kind: str = "link"


Cell = str | Slot | Tick | Link


@dataclass(frozen=True, slots=True)
class Banner:
    """Words that nobody may miss."""

    title: str
    lines: tuple[str, ...] = ()
    grave: bool = True
    kind: str = "banner"


@dataclass(frozen=True, slots=True)
class Rows:
    """Pairs of name and value."""

    title: str
    rows: tuple[tuple[str, str], ...]
    kind: str = "rows"


@dataclass(frozen=True, slots=True)
class Table:
    """A table; `numbers` are the columns set to the right, `strong` the rows that matter most."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    numbers: tuple[int, ...] = ()
    strong: tuple[int, ...] = ()
    wide: bool = False
    kind: str = "table"


@dataclass(frozen=True, slots=True)
class SheetStep:
    """One thing to do; `files` marks a step that runs a file."""

    tick: Tick
    file: str = ""


@dataclass(frozen=True, slots=True)
class Steps:
    title: str
    steps: tuple[SheetStep, ...]
    kind: str = "steps"


@dataclass(frozen=True, slots=True)
class SheetMeasure:
    """What to measure and the command that records it; `done` says what the record holds already.

    With `screen` it is of no use on paper and not printed.
    """

    text: str
    command: Command
    done: str = ""
    screen: bool = False


@dataclass(frozen=True, slots=True)
class Measures:
    title: str
    measures: tuple[SheetMeasure, ...]
    note: str = ""
    kind: str = "measures"


@dataclass(frozen=True, slots=True)
class Notes:
    """A short list, under a title of its own."""

    title: str
    lines: tuple[str, ...]
    kind: str = "notes"


@dataclass(frozen=True, slots=True)
class Drawing:
    """An SVG of ours, ready to stand in the page; `label` says in words what it shows."""

    label: str
    svg: str
    kind: str = "drawing"


@dataclass(frozen=True, slots=True)
class Break:
    """On paper a new sheet begins here, with the page's head again; on a screen nothing."""

    kind: str = "break"


Block = Banner | Break | Rows | Table | Steps | Measures | Notes | Drawing


@dataclass(frozen=True, slots=True)
class Page:
    """One page: `key` is its id, `mark` the large sign at its head, `face` what lies up, in large
    type.

    `short` names it in the row of pages, `under` says more below its title, `loud`: nobody may miss
    it.
    """

    key: str
    mark: str
    title: str
    under: str
    blocks: tuple[Block, ...]
    face: str = ""
    state: State = ""
    short: str = ""
    loud: bool = False

    @property
    def sheets(self) -> int:
        """Sheets of paper that it takes."""
        return 1 + sum(isinstance(block, Break) for block in self.blocks)

    @property
    def shown(self) -> frozenset[str]:
        """Keys of the slots that stand in its tables, so that no command has to show them again."""
        tables = [block for block in self.blocks if isinstance(block, Table)]
        return frozenset(
            cell.key
            for table in tables
            for row in table.rows
            for cell in row
            if isinstance(cell, Slot)
        )
