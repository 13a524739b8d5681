"""The page for the bed of a shop: its files in their order, zero, cutter, and what to do."""

from __future__ import annotations

from collections.abc import Sequence

from corepath.lengths import mm
from corepath.motion.program import Program
from corepath.motion.zero_words import xy_words
from corepath.views.sheet_html.page_parts import (
    Block,
    Command,
    Measures,
    Notes,
    Page,
    Rows,
    SheetMeasure,
    SheetStep,
    Slot,
    Steps,
    Table,
    Tick,
)
from corepath.views.sheet_html.sheet_file import plain_sheet
from corepath.work.bed_works import BedWork

__all__ = ["bed_sheet"]

_CAUTIONS = (
    "Protect eyes and ears; wear a mask: the dust of fibreboard is fine and its binder is no food "
    "for lungs. Extract it at the cutter.",
    "Keep hands clear until the spindle has stopped.",
    "Screws that hold the spoil board from above stand deeper than all that is faced: look first.",
    "Makers' sheets and local rules go before this page.",
)

Row = tuple[BedWork, Program, float]


def bed_sheet(units: str, digest: str, rows: Sequence[Row], shop: str) -> str:
    """Return the page as text, to be written as UTF-8; `rows` are the files with their minutes,
    `shop` the name of the shop file, whose lengths are in `units`."""
    pages = tuple(_page(row, number, shop) for number, row in enumerate(rows, start=1))
    return plain_sheet(f"Bed of {shop}", digest, pages, units)


def _page(row: Row, number: int, shop: str) -> Page:
    work, program, spent = row
    blocks: list[Block] = [Notes("Caution", _CAUTIONS)] if number == 1 else []
    blocks += [_facts(work, program, spent), _steps(work, program)]
    if work.work.holes:
        blocks.append(_table(work))
    if work.name == "face":
        blocks.append(_thickness(shop))
    return Page(
        key=f"bed-{work.name}",
        mark=str(number),
        title=work.title[:1].upper() + work.title[1:],
        under=f"{work.stem}.nc",
        blocks=tuple(blocks),
        short=work.name,
    )


def _facts(work: BedWork, program: Program, spent: float) -> Rows:
    zero = program.zero
    rows = (
        ("cutter", program.cutter.describe()),
        ("stick-out", f"{mm(program.cutter.stick_out):g~}"),
        ("X0 Y0", xy_words(zero, lambda length: f"{mm(length):g}")),
        ("Z0", f"touch {zero.touch}"),
        (
            "again",
            "you may touch off again" if zero.again else "touch once, do not touch off again",
        ),
        ("minutes", f"{spent:.1f}"),
        *((f"note {k}", text) for k, text in enumerate(work.told, start=1)),
    )
    return Rows("What it needs", rows)


def _steps(work: BedWork, program: Program) -> Steps:
    laid = "Lay the blank down, the edge to be cut over its line; hold it."
    bare = "Bare bed: no blank, no dowel, no clamp, no screw head in the way."
    says = [
        laid if work.name == "edge" else bare,
        f"Fit {program.cutter.describe()}, set X and Y, touch Z.",
        "Run it high in the air first, spindle off: does it stay on the board?",
        "Run.",
    ]
    steps = (
        SheetStep(Tick(f"{work.name}-{k}", text), f"{work.stem}.nc" if text == "Run." else "")
        for k, text in enumerate(says, start=1)
    )
    return Steps("Do", tuple(steps))


def _table(work: BedWork) -> Table:
    rows = tuple(
        (hole.id, f"{mm(hole.x):g}", f"{mm(hole.y):g}", f"{mm(hole.steps[-1].diameter):g}",
         f"{mm(-hole.steps[-1].floor):g}")
        for hole in work.work.holes
    )  # fmt: skip
    return Table("Holes", ("hole", "X", "Y", "diameter", "depth"), rows, numbers=(1, 2, 3, 4))


def _thickness(shop: str) -> Measures:
    slot = Slot("bed-thickness", "thickness of the spoil board", "T")
    command = Command((f"corepath bed {shop} --thickness ", slot))
    text = "Measure the spoil board at several places; type the smallest, then plan each job again."
    return Measures("Write down", (SheetMeasure(text, command),))
