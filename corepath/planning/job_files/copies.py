"""The same core on several blanks in turn: a short job for each, which is a copy of the first.

Each copy has a title, a record, a list of places to measure and a plan's folder of its own, so that
no stop and no figure of one blank is ever taken for that of another. All else stands in the job.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from corepath.errors import Fault, InputError
from corepath.job.text.editing import toml_text
from corepath.job.text.source import read_source
from corepath.job.text.writing import write_new
from corepath.planning.report.times import MinutesApart

__all__ = ["MOST", "Order", "copy_jobs", "order_of"]

MOST = 20
"""Copies at most: more blanks than lie ready in a small shop."""

_PLACING = 2.0
"""Minutes to set a blank on its dowels and hold it (common practice, no source)."""
_TITLE = 60


@dataclass(frozen=True, slots=True)
class Order:
    """How several blanks are cut: one after another, or each cutter over all of them. Minutes of
    tool changes and of placing blanks, either way."""

    by_copy: float
    by_cutter: float

    @property
    def message(self) -> str:
        """The quicker order in words, with what the other would take."""
        figures = f"{self.by_copy:.0f} min of tool changes and placing, {self.by_cutter:.0f}"
        if self.by_copy <= self.by_cutter:
            return f"Order: one copy after another ({figures} cutter by cutter)."
        return (
            f"Order: in each set-up every cutter over all blanks in turn "
            f"({self.by_cutter:.0f} min of tool changes and placing, {self.by_copy:.0f} one copy "
            "after another); each blank goes back on its dowels, and Z is touched once a cutter."
        )


def order_of(count: int, apart: MinutesApart, setups: int) -> Order:
    """Return the minutes of both orders for `count` blanks; `apart` is that of one of them, cut in
    so many set-ups."""
    each = apart.change_minutes / apart.changes if apart.changes else 0.0
    # the cutter that is in from the set-up before is a change too, with other blanks in between
    runs = apart.changes
    by_copy = count * (runs * each + setups * _PLACING)
    by_cutter = runs * each + count * runs * _PLACING
    return Order(by_copy, by_cutter)


def copy_jobs(path: Path, title: str, count: int) -> tuple[Path, ...]:
    """Write a job for each copy beside `path`, and return their paths; one that is there already as
    a copy of this job stays as it is. Raises InputError for another file of that name: then none is
    written."""
    copies = [path.with_name(f"{path.stem}-{k}.toml") for k in range(1, count + 1)]
    faults = [fault for copy in copies for fault in _refused(copy, path)]
    if faults:
        raise InputError(faults)
    for k, copy in enumerate(copies, start=1):
        if not copy.exists():
            write_new(copy, _text(path, title, (k, count)).encode("utf-8"))
    return tuple(copies)


def _refused(copy: Path, path: Path) -> list[Fault]:
    if not copy.exists():
        return []
    found, _ = read_source(copy)
    if found is not None and found.document.get("copy_of") == path.name:
        return []
    says = f"is there already and is no copy of {path.name}; it is not overwritten"
    return [Fault("--copies", says, allowed="another name for one of them", file=str(copy))]


def _text(path: Path, title: str, place: tuple[int, int]) -> str:
    number, count = place
    said = f", {number} of {count}"
    return (
        f"# The same core on another blank: all keys are those of {path.name}, but for what stands "
        "here.\n"
        "# Its record and its measured places are its own: blank.measured is given here.\n"
        f"copy_of = {toml_text(path.name)}\n"
        f"title = {toml_text(title[: _TITLE - len(said)] + said)}\n"
    )
