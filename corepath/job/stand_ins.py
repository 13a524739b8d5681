"""Values that stand in for missing or wrong ones, so that the rest of a job can be checked.

A named piece of hardware gives an insert the keys that it does not give itself. Where a value is
wrong on which no geometry hangs, its default stands in: the job is refused all the same, but what
is wrong with its geometry is found in the same run. Lengths in the file's units, those from tables
in mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

from corepath.errors import Fault
from corepath.job.model import MachineSection, Millimetres
from corepath.job.tables.builtin import HARDWARE_KEYS, hardware
from corepath.job.text.source import path_of

__all__ = ["fill_hardware", "with_stand_ins"]

_APART = frozenset({"skim", "cast", "skin", "layup", "hold", "tolerances", "limits", "trim"})
_APART_KEYS = {
    "blank": frozenset({"tolerance", "wood", "grain"}),
    "deck": frozenset({"clean_up", "smooth", "least_radius", "scallop"}),
    "machine": frozenset(MachineSection.model_fields)
    - {"travel", "z_zero", "touch_at", "flip_about"},
}


def fill_hardware(known: dict[str, Any]) -> None:
    """Give each insert the keys of its named hardware that it does not give itself.

    Where the name is unknown, that is the fault to report, not the keys missing for it: those of
    the row with the nearest name stand in, so that the rest can still be checked; the job is
    refused for the name.
    """
    inserts = known.get("insert")
    for insert in inserts if isinstance(inserts, list) else ():
        name = insert.get("hardware") if isinstance(insert, dict) else None
        if not isinstance(name, str):
            continue
        near = get_close_matches(name, list(hardware()), n=1, cutoff=0.0)
        given = hardware()[near[0]].keys()
        for key in HARDWARE_KEYS:
            insert.setdefault(key, Millimetres(given[key]))


def with_stand_ins(known: Mapping[str, Any], faults: Iterable[Fault]) -> dict[str, Any]:
    """The document with defaults for wrong values that no geometry hangs on, so that geometry can
    still be checked."""
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
