"""A shop file by itself: its keys checked as a job that names it would check them."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

from corepath.errors import Fault, InputError
from corepath.job.load import check_source
from corepath.job.model import BedSection, BlankSection, Job
from corepath.job.text.shop_file import SHARED, joined
from corepath.job.text.source import Source, path_of
from corepath.job.text.starter import starter_text

__all__ = ["Shop", "read_shared", "read_shop"]

_HARD = "beech"
"""The wood whose feeds are taken for a spoil board of fibreboard: the hardest kind."""


@dataclass(frozen=True, slots=True)
class Shop:
    """A shop file as text, its bed, and a job with all that it gives, whose blank is the spoil
    board itself."""

    source: Source
    bed: BedSection
    job: Job


def read_shop(path: Path) -> Shop:
    """Return a shop file with its bed.

    Raises InputError with all faults of the file: also that it has no bed or no machine.
    """
    shop, job = read_shared(path, bed=True)
    assert job.bed is not None
    units = str(shop.document.get("units", "mm"))
    return Shop(shop, job.bed, _on_bed(job, job.bed, units))


def read_shared(path: Path, *, bed: bool = False) -> tuple[Source, Job]:
    """Return a shop file as text, and a job with all that it gives; with `bed` it must have one.

    Raises InputError with all faults of the file.
    """
    document = tomllib.loads(starter_text("Bed"))
    for name in SHARED:
        document.pop(name, None)
    del document["blank"]["spoil_board"]
    stand_in = Source(str(path), "", {**document, "shop": path.name})
    source, faults = joined(stand_in)
    job, more = check_source(source)
    shop = source.shop
    if shop is None:
        raise InputError([_of_file(fault) for fault in faults])
    found = [one for one in (*faults, *more) if one.line is not None and one.file == shop.file]
    # a table that is missing has no line; all else without one is of the job that stands in
    found += [one for one in more if one.line is None and path_of(one.key)[0] in SHARED]
    if bed and "bed" not in shop.document:
        allowed = "[bed] with size and thickness"
        found.append(Fault("bed", "the table [bed] is missing", allowed=allowed, file=shop.file))
    if found or job is None or (bed and job.bed is None):
        raise InputError(list(dict.fromkeys(found)))
    return shop, job


def _on_bed(job: Job, bed: BedSection, units: str) -> Job:
    blank = BlankSection(
        length=bed.size[0], width=bed.size[1], thickness=bed.thickness, wood=_HARD,
        spoil_board=bed.thickness,
    )  # fmt: skip
    return job.model_copy(update={"blank": blank, "units": units})


def _of_file(fault: Fault) -> Fault:
    """Return the fault of a file that cannot be read; the key that names it stands nowhere."""
    if fault.key != "shop":
        return fault
    return replace(fault, key="", value="", line=None)
