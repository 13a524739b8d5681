"""Substitutes for missing or wrong values, so that the rest of a job can still be checked.

A named piece of hardware supplies the keys that an insert does not give itself. Where a value is
wrong on which no geometry depends, its default is used: the job is rejected all the same, but
faults of its geometry are found in the same run. Lengths in the file's units, those from tables in
mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

from corepath.errors import Fault
from corepath.job.model import MachineSection
from corepath.job.tables.builtin import HARDWARE_KEYS, hardware
from corepath.job.text.source import path_of

__all__ = ["fill_bed", "fill_hardware", "fill_resin", "with_stand_ins"]

# Sections, and below keys of other sections, on which no geometry of the board depends.
_APART = frozenset({"bed", "skim", "cast", "skin", "layup", "hold", "tolerances", "limits", "trim"})
_APART_KEYS = {
    "blank": frozenset({"tolerance", "wood", "grain"}),
    "deck": frozenset({"clean_up", "smooth", "least_radius", "scallop"}),
    "machine": frozenset(MachineSection.model_fields)
    - {"travel", "z_zero", "touch_at", "flip_about"},
}


def fill_hardware(known: dict[str, Any]) -> None:
    """Add to each insert of the document `known` the keys of its named hardware that it lacks; the
    job's own rows come before the table."""
    inserts, own = known.get("insert"), _rows(known, "hardware")
    for insert in inserts if isinstance(inserts, list) else ():
        name = insert.get("hardware") if isinstance(insert, dict) else None
        if not isinstance(name, str):
            continue
        if name in own:
            _fill(insert, own[name], HARDWARE_KEYS)
            continue
        # cutoff 0: an unknown name takes the nearest row. The name alone is then reported as a
        # fault, not all the keys that are missing because of it.
        near = get_close_matches(name, list(hardware()), n=1, cutoff=0.0)
        for key, value in hardware()[near[0]].keys().items():
            insert.setdefault(key, value)


_RESIN_KEYS = ("ratio", "ratio_by", "density", "shrinkage", "gel_loss")


def fill_resin(known: dict[str, Any]) -> None:
    """Add to the table `cast` of the document `known` the keys of its resin that it lacks, where
    that is one of the job's own."""
    cast, own = known.get("cast"), _rows(known, "resin")
    if isinstance(cast, dict) and isinstance(cast.get("resin"), str) and cast["resin"] in own:
        _fill(cast, own[cast["resin"]], _RESIN_KEYS)


def fill_bed(known: dict[str, Any]) -> None:
    """Give the blank of the document `known` the spoil board of its bed, where it gives none."""
    bed, blank = known.get("bed"), known.get("blank")
    if isinstance(bed, dict) and isinstance(blank, dict) and "thickness" in bed:
        blank.setdefault("spoil_board", bed["thickness"])


def _rows(known: Mapping[str, Any], name: str) -> dict[str, Mapping[str, Any]]:
    """Return the tables of an array in a document by their names."""
    rows = known.get(name)
    tables = [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
    return {row["name"]: row for row in tables if isinstance(row.get("name"), str)}


def _fill(table: dict[str, Any], row: Mapping[str, Any], keys: Iterable[str]) -> None:
    for key in keys:
        if key in row:
            table.setdefault(key, row[key])


def with_stand_ins(known: Mapping[str, Any], faults: Iterable[Fault]) -> dict[str, Any]:
    """Return the document with defaults in place of wrong values on which no geometry depends.

    `faults` are those found so far, with their keys.
    """
    usable = dict(known)
    for section, *keys in (path_of(fault.key) for fault in faults):
        if section == "title":
            usable["title"] = "untitled"
        elif section in _APART:
            usable.pop(str(section), None)
        elif (
            keys
            and keys[0] in _APART_KEYS.get(str(section), ())
            and isinstance(usable.get(str(section)), dict)
        ):
            usable[str(section)] = {
                key: value for key, value in usable[str(section)].items() if key != keys[0]
            }
    return usable
