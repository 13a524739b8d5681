"""The boards of a shop that were measured or cut: their jobs, and what was recorded of them.

They are looked for beside the shop file and one folder below: jobs that name it, and copies of
such jobs. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from corepath.errors import Fault, InputError
from corepath.job.load import read_job
from corepath.job.model import Job
from corepath.job.record.ascut import Record, load_record, record_path
from corepath.job.text.shop_file import shop_path
from corepath.job.text.source import read_source
from corepath.planning.known import Known, read_known

__all__ = ["PastBoard", "past_boards"]

_MOST = 500
"""Files that are looked at in a folder."""


@dataclass(frozen=True, slots=True)
class PastBoard:
    """One board: its job file, the job, what was measured of its blank, and its record."""

    path: Path
    job: Job
    known: Known
    record: Record

    @property
    def name(self) -> str:
        return self.path.name

    @property
    def date(self) -> str:
        """The day of its last entry; empty for one that was measured alone."""
        return max((entry.date for entry in self.record.entries), default="")


def past_boards(shop: Path, given: Sequence[Path] = ()) -> tuple[list[PastBoard], list[str]]:
    """Return the boards of a shop with anything measured, the oldest first, and in words the jobs
    that were left out. Where jobs are `given`, those alone.

    Raises InputError for a given job that cannot be used; a job that was found is left out and
    told.
    """
    boards, told, faults = [], [], []
    for path in given or _found(shop):
        named = _shop_of(path)
        if named is None or not _same(named, shop):
            if given:
                faults.append(_not_of_shop(path, shop, named))
            continue
        try:
            boards.append(_board(path))
        except InputError as error:
            faults += error.faults
            told.append(f"{path.name} is left out: it has faults (corepath check {path.name})")
    if given and faults:
        raise InputError(faults)
    measured = [one for one in boards if one.record.standing or one.known.measured is not None]
    told += [f"{one.name} has no record yet" for one in boards if one not in measured]
    return sorted(measured, key=lambda one: (one.date, one.name)), told


def _found(shop: Path) -> list[Path]:
    """Return the jobs beside a shop file and one folder below."""
    places = [shop.parent, *(one for one in sorted(shop.parent.iterdir()) if one.is_dir())]
    found = []
    for place in places[:_MOST]:
        try:
            names = sorted(place.glob("*.toml"))[:_MOST]
        except OSError:
            continue
        found += [one for one in names if one.is_file() and not one.name.endswith(".ascut.toml")]
    return [one for one in found if one.name != shop.name]


def _shop_of(path: Path) -> Path | None:
    """Return the shop file that a job names, or the job that it is a copy of; None where it names
    none or cannot be read."""
    source, _ = read_source(path)
    if source is None:
        return None
    base = source.document.get("copy_of")
    if isinstance(base, str) and base and "\0" not in base and Path(base).name == base:
        source, _ = read_source(path.parent / base)
    return None if source is None else shop_path(source.document, path.parent)


def _same(one: Path, other: Path) -> bool:
    try:
        return one.resolve() == other.resolve()
    except (OSError, RuntimeError):
        return False


def _not_of_shop(path: Path, shop: Path, named: Path | None) -> Fault:
    """Return the fault of a given job that is none of this shop's."""
    if not path.is_file():
        return Fault("", "there is no such file", allowed="a job file", file=str(path))
    says = "names no shop file" if named is None else f"names another shop file, {named}"
    return Fault("shop", says, allowed=f"shop = {shop.name!r}".replace("'", '"'), file=str(path))


def _board(path: Path) -> PastBoard:
    job, faults = read_job(path)
    if job is None or faults:
        raise InputError(faults)
    known, wrong = read_known(job, path)
    if wrong:
        raise InputError(wrong)
    return PastBoard(path, job, known, load_record(record_path(path)))
