"""A page for each set-up: how the blank lies, how it is held, zero, dowels, files in order, steps,
what to measure."""

from __future__ import annotations

from collections.abc import Sequence

from corepath.job.pose import over_datum
from corepath.lengths import marked, with_minus
from corepath.motion.program import Setup
from corepath.motion.zero_words import again_words, xy_words
from corepath.views.sheet_html.facts import Facts, PlannedFile, mm
from corepath.views.sheet_html.page_parts import (
    Block,
    Break,
    Cell,
    Drawing,
    Link,
    Page,
    Rows,
    State,
    Table,
)
from corepath.views.sheet_html.setup_drawing import setup_drawing
from corepath.views.sheet_html.setup_steps import setup_measures, setup_steps
from corepath.views.sheet_html.setup_words import dowel_rows, fixings, hold_words
from corepath.views.sheet_html.work_state import pour_state
from corepath.work.works import Work

__all__ = ["after_a_page", "files_table", "setup_facts", "setup_page", "setup_state"]

_MOST_WATCH = 6


def setup_page(facts: Facts, setup: Setup) -> Page:
    """Return the page of set-up A, B, C or D (its flush has a page of its own)."""
    works = tuple(work for work in facts.works_of(setup) if work.name != "flush")
    scene = facts.scene(setup)
    face = scene.pose.caption
    blocks: list[Block] = [
        Drawing(
            f"Set-up {setup}, {face.lower()}, as you see it from above", setup_drawing(facts, setup)
        ),
        setup_facts(facts, setup, works),
        files_table(facts, works),
        Break(),
        setup_steps(facts, setup, works),
        *(setup_measures(facts, setup) if setup != "A" else ()),
    ]
    names = ", ".join(dict.fromkeys(work.name.replace("-", " ") for work in works))
    return Page(
        setup.lower(), setup, f"Set-up {setup}: {names}", scene.turned, tuple(blocks),
        face=face, state=setup_state(facts, setup), short=f"set-up {setup}",
    )  # fmt: skip


def after_a_page(facts: Facts) -> Page:
    """Return the page of what is measured before anything is poured."""
    found = bool(facts.settled.groove_depth)
    state: State = (
        "done"
        if found or pour_state(facts) == "done"
        else "now"
        if "groove" in facts.done
        else "ahead"
    )
    blocks, face = setup_measures(facts, "A"), facts.scene("A").pose.caption
    return Page(
        "depths",
        "A",
        "After A: measure the depths",
        "the blank still held",
        blocks,
        face,
        state,
        "depths",
    )


def setup_state(facts: Facts, setup: Setup) -> State:
    """Return how far a set-up has come, by the operations recorded as cut."""
    order = [work.name for work in facts.works if work.name != "flush"]
    mine = [work.name for work in facts.works_of(setup) if work.name != "flush"]
    state = facts.state(mine, order[: order.index(mine[0])])
    # The pour is no operation of the works, but nothing may be turned over before it is done.
    if setup == "B" and state == "now" and pour_state(facts) != "done":
        return "ahead"
    return state


def setup_facts(facts: Facts, setup: Setup, works: Sequence[Work]) -> Rows:
    """Return the rows of a set-up: holding, zero, dowels, obstacles, the reach of its files."""
    rows = [
        ("island and rim", hold_words(facts, setup)),
        *_xy_rows(facts, works),
        *_z_rows(works),
        *dowel_rows(facts, setup),
        *fixings(facts, setup),
        ("the cutter moves", f"{_extents(facts, works)}safe height {mm(works[0].clear, 1)}"),
    ]
    return Rows("Set-up", tuple(rows))


def _xy_rows(facts: Facts, works: Sequence[Work]) -> tuple[tuple[str, str], ...]:
    """Return rows on how X, Y zero is found, one for each way of finding it."""
    found: dict[str, list[str]] = {}
    for work in works:
        found.setdefault(xy_words(work.zero, facts.record.shown), []).append(work.name)
    if len(found) == 1:
        return (("X, Y zero", next(iter(found))),)
    return tuple(
        (f"X, Y zero, {', '.join(dict.fromkeys(names))}", words) for words, names in found.items()
    )


def _z_rows(works: Sequence[Work]) -> tuple[tuple[str, str], ...]:
    """Return rows on Z zero, one for each that differs."""
    found: dict[str, list[str]] = {}
    for work in works:
        again = again_words(work.zero)
        height = f", which lies {mm(work.zero.z)} {over_datum(work.setup)}" if work.zero.z else ""
        system = "" if work.zero.system == "G54" else f"in {work.zero.system}, X, Y and Z of it: "
        found.setdefault(f"{system}touch {marked(work.zero.touch)}{height}; {again}", []).append(
            work.name
        )
    if len(found) == 1:
        return (("Z zero", next(iter(found))),)
    return tuple(
        (f"Z zero, {', '.join(dict.fromkeys(names))}", words) for words, names in found.items()
    )


def _extents(facts: Facts, works: Sequence[Work]) -> str:
    """Return the extents of these works' files on the bed in words, from the middle of the
    blank."""
    reached = [file.reach for work in works for file in facts.files(work)]
    if not reached:
        return ""
    words = ", ".join(
        f"{name} {mm(min(low for low, _ in ends), 1)} to {mm(max(high for _, high in ends), 1)}"
        for name, ends in zip(("X", "Y", "height"), zip(*reached, strict=True), strict=True)
    )
    return with_minus(words) + f" {over_datum(works[0].setup)}; "


def files_table(facts: Facts, works: Sequence[Work]) -> Table:
    """Return a table of the files in the order they are run, with cutter, depth, minutes and what
    to watch."""
    rows = [row for work in works for row in _rows(facts, work)]
    head = ("file", "cutter", "rpm", "deepest", "min", "watch")
    return Table("Files in order", head, tuple(rows), numbers=(2, 4), wide=True)


def _rows(facts: Facts, work: Work) -> list[tuple[Cell, ...]]:
    files = facts.files(work)
    deepest = _deepest(facts, work)
    if not files:
        state = "cut, as recorded" if work.name in facts.done else "not written"
        return [
            (
                f"{work.stem}.nc",
                work.cutter.describe(),
                f"{work.cutting.rpm:.0f}",
                deepest,
                "–",
                state,
            )
        ]
    if work.facing is not None and len(files) > 1:
        return [_skim_row(facts, work, files, deepest)]
    return [
        (_played(facts, file.name), work.cutter.describe(), f"{file.program.cutting.rpm:.0f}",
        deepest,
         f"{file.minutes:.1f}", _watch(work, file))
        for file in files
    ]  # fmt: skip


def _played(facts: Facts, file: str) -> Cell:
    """Return a file's name, as a link to the page that plays it where there is one."""
    return Link(file, f"{facts.player}#{file}") if facts.player else file


def _skim_row(
    facts: Facts, work: Work, files: Sequence[PlannedFile], deepest: str
) -> tuple[str, ...]:
    single = [file for file in files if not file.program.combined]
    names = f"{work.stem}-pass-1.nc to {len(single)}, or {work.stem}-all.nc"
    longest = max((file.minutes for file in single), default=files[0].minutes)
    watch = f"see the page of the skim; {_watch(work, files[0])}"
    return (
        names,
        work.cutter.describe(),
        f"{files[0].program.cutting.rpm:.0f}",
        deepest,
        f"{longest:.1f} a pass",
        watch,
    )


def _deepest(facts: Facts, work: Work) -> str:
    if work.setup == "D":
        return f"{mm(work.lowest)} {over_datum(work.setup)}"
    bed = (
        f"{mm(-work.lowest)} into the bed"
        if work.lowest < 0
        else f"{mm(work.lowest)} above the bed"
    )
    return f"{facts.scene(work.setup).below(work)} deep, {bed}"


def _watch(work: Work, file: PlannedFile) -> str:
    said = [marked(line) for line in (*work.watch, *file.program.watch)]
    # Dowels have rows of their own on the page.
    lines = [line for line in dict.fromkeys(said) if not line.startswith("dowels here")]
    more = "; more in the file's head" if len(lines) > _MOST_WATCH else ""
    return "; ".join(lines[:_MOST_WATCH]) + more
