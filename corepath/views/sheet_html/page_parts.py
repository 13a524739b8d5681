"""The parts of a page of the set-up sheet: text, tables, ticks, boxes to fill in, commands,
drawings.

A *tick* is a small box that the person at the machine marks when a step is done; a *slot* is a box
for a measured figure. Both have keys that are unique in the sheet and do not depend on its texts,
so that a tick stays when a text changes. A command contains slots: what is typed into a box appears
in the command.
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
"""How far the work of a page has come, according to the record."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A box for one figure: `label` is its accessible name, `letter` its placeholder in a command.

    `short` is set beside it where the text above says the rest; `label` where it is empty.
    """

    key: str
    label: str
    letter: str
    unit: str = ""
    short: str = ""
    kind: str = "slot"


@dataclass(frozen=True, slots=True)
class Tick:
    """A box to mark; `done` where it is done according to the record."""

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
        """The separator and the pieces of each option with its figures: a line may break only
        between options."""
        found: list[tuple[str, list[str | Slot]]] = [("", [])]
        for piece in self.pieces:
            if isinstance(piece, Slot):
                found[-1][1].append(piece)
                continue
            # The capturing group keeps the separators: text, separator, text, separator, text …
            first, *others = re.split(r"( (?=--)|\n)", piece)
            found[-1][1].append(first)
            found += [(others[k], [others[k + 1]]) for k in range(0, len(others), 2)]
        return tuple((before, tuple(pieces)) for before, pieces in found)

    @property
    def slots(self) -> tuple[Slot, ...]:
        return tuple(piece for piece in self.pieces if isinstance(piece, Slot))


@dataclass(frozen=True, slots=True)
class Link:
    """Words that link to another file in the folder."""

    text: str
    to: str
    kind: str = "link"


Cell = str | Slot | Tick | Link


@dataclass(frozen=True, slots=True)
class Banner:
    """A warning that nobody may miss."""

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
    """A table; `numbers` are the columns set flush right, `strong` the rows set in bold."""

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
    """What to measure and the command that records it; `done` says what is recorded already.

    With `screen` it is not printed, as it is of no use on paper.
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
    """An SVG element for the page; `label` says in words what it shows."""

    label: str
    svg: str
    kind: str = "drawing"


@dataclass(frozen=True, slots=True)
class Break:
    """On paper a new sheet begins here, with the page's head again; on a screen nothing changes."""

    kind: str = "break"


Block = Banner | Break | Rows | Table | Steps | Measures | Notes | Drawing


@dataclass(frozen=True, slots=True)
class Page:
    """One page: `key` is its id, `mark` the large sign at its head, `face` the face that is up, in
    large type.

    `short` names it in the row of pages, `under` says more below its title, `loud` makes it stand
    out.
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
        """Number of sheets of paper that it needs."""
        return 1 + sum(isinstance(block, Break) for block in self.blocks)

    @property
    def shown(self) -> frozenset[str]:
        """Keys of the slots in its tables; commands need not show a box for them again."""
        tables = [block for block in self.blocks if isinstance(block, Table)]
        return frozenset(
            cell.key
            for table in tables
            for row in table.rows
            for cell in row
            if isinstance(cell, Slot)
        )
