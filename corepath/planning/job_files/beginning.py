"""A job for a new board from five sizes: worked out, and changed where its thicknesses ask for it,
before anything is written."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from corepath.errors import InputError
from corepath.job.text.editing import edited, with_head
from corepath.job.text.full_board import BoardSizes, board_text
from corepath.job.text.source import parse
from corepath.job.text.starter import title_of
from corepath.lengths import Units, marked, plain
from corepath.planning.fixing.search import find_fixes
from corepath.planning.job_files.applying import settings_of
from corepath.planning.prepare import Prepared, prepare_source
from corepath.planning.progress import Progress, quiet
from corepath.stackup.advice.fix import Fix

__all__ = ["Begun", "Hopeless", "begin_board"]

_NOT_OURS = ("tolerances.", "blank.", "board.", "deck.stations")
"""What is not for `new` to choose: how well the shop works, and the thicknesses it was given."""

_WIDE = 110
"""Letters of a comment's line."""

_TRIES = 3
"""Thicknesses that are tried from the nearest one on."""

_SKIMMED = 0.7
"""mm that a flat blank is thicker than its core at least, on the boards that were tried."""


@dataclass(frozen=True, slots=True)
class Begun:
    """A job that is ready to plan: its `text`, and what its thicknesses asked for: `fix` was taken
    where the first guess failed."""

    path: Path
    title: str
    text: str
    prepared: Prepared
    fix: Fix | None

    @property
    def risks(self) -> tuple[str, ...]:
        """What the builder must know, in words."""
        return self.fix.risks if self.fix is not None else ()


@dataclass(frozen=True, slots=True)
class Hopeless:
    """Sizes of which no job comes out: what fails first, and the `nearest` options that work."""

    fails: str
    nearest: tuple[str, ...]


def begin_board(
    path: Path, sizes: BoardSizes, units: Units, command: str, progress: Progress = quiet
) -> Begun | Hopeless:
    """Returns the job of a board of these sizes, or why there is none and the nearest that works.

    `command` is what was typed. Raises InputError with all faults of the sizes and of the geometry
    that follows from them.
    """
    faults = sizes.faults(units)
    if faults:
        raise InputError(faults)
    if sizes.core >= sizes.blank:
        # no job of these can be worked out at all: both are sought from what most blanks need
        start = {
            "board.thickness": sizes.blank - _SKIMMED,
            "blank.thickness": sizes.core + _SKIMMED,
        }
        nearest = _nearest(path, sizes, units, start)
        return Hopeless(
            "the core is as thick as the blank: nothing is left to skim", tuple(nearest)
        )
    tried = _try(path, sizes, units, command, progress)
    if isinstance(tried, Begun):
        return tried
    first, found = tried
    failed = next(check for check in first.checks if check.verdict == "fail")
    says = f"{failed.id} fails: {marked(failed.message)}"
    start = {key: float(one.values[key]) for one in reversed(found) for key in one.values}
    return Hopeless(says, tuple(_nearest(path, sizes, units, start)))


def _try(
    path: Path, sizes: BoardSizes, units: Units, command: str = "", progress: Progress = quiet
) -> Begun | tuple[Prepared, Sequence[Fix]]:
    """Returns the job, or the first guess and all fixes of it where none of them is for `new`."""
    text = board_text(title_of(path), sizes, units, command)
    first = _prepared(text, path, progress)
    if not first.failed:
        return Begun(path, title_of(path), text, first, None)
    found = find_fixes(first).found
    fix = next((one for one in found if _is_ours(one)), None)
    if fix is None:
        return first, found
    text = edited(text, settings_of(fix.typed(units)))
    told = (textwrap.wrap(units.text(one), _WIDE, subsequent_indent="  ") for one in _told(fix))
    text = with_head(text, [line for lines in told for line in lines])
    return Begun(path, title_of(path), text, _prepared(text, path, progress), fix)


def _prepared(text: str, path: Path, progress: Progress) -> Prepared:
    source, faults = parse(text, str(path))
    if source is None:
        raise InputError(faults)
    try:
        return prepare_source(source, path, progress)
    except InputError as error:
        # the file is not written, so nobody can look at its lines
        raise InputError([replace(one, file="", line=None) for one in error.faults]) from None


def _is_ours(fix: Fix) -> bool:
    return not fix.measure and not any(key.startswith(_NOT_OURS) for key in fix.values)


def _told(fix: Fix) -> Iterator[str]:
    yield "These thicknesses ask for " + ", ".join(one.message for one in fix.settings) + "."
    yield from (f"RISK: {marked(risk)}." for risk in fix.risks)


def _nearest(path: Path, sizes: BoardSizes, units: Units, start: dict[str, float]) -> Iterator[str]:
    """Yields the nearest core for this blank and the nearest blank for this core, as options that
    work: each was tried, from the thicknesses of `start` on."""
    step = 0.005 * units.scale if units.inch else 0.1
    core = start.get("board.thickness")
    if core is not None:
        core = _first(path, sizes, "core", (math.floor(core / step + 1e-6), -1, step), units)
    if core is not None:
        yield f"--core {plain(units.scaled(core), 4)}"
        # what this blank is thicker than such a core is about what another core needs
        start["blank.thickness"] = sizes.core + sizes.blank - core
    blank = start.get("blank.thickness")
    if blank is not None:
        blank = _first(path, sizes, "blank", (math.ceil(blank / step - 1e-6), 1, step), units)
    if blank is not None:
        yield f"--blank {plain(units.scaled(blank), 4)}"


def _first(
    path: Path, sizes: BoardSizes, name: str, steps: tuple[int, int, float], units: Units
) -> float | None:
    """Returns the first thickness with which a board comes out, of a few whole steps (from, way,
    step) tried in turn; None where none does."""
    count, way, step = steps
    for value in ((count + way * more) * step for more in range(_TRIES)):
        if isinstance(_try(path, replace(sizes, **{name: value}), units), Begun):
            return value
    return None
