"""A job in inches with some lengths still in mm: found by their size, before any geometry is made.

A number looks like mm where it is too large in inches and plausible in mm: a safe height of 8
inches, a cutter of 6. The figures below are the largest sizes that exist (common practice, no
source).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

from corepath.errors import Fault
from corepath.job.model import Inches, Millimetres
from corepath.job.text.positions import Path
from corepath.job.text.source import key_of
from corepath.lengths import MM_PER_INCH

__all__ = ["LARGEST", "half_converted"]

LARGEST: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "board": {"thickness": 120.0, "edge_thickness": 120.0},
        "deck": {"edge_band": 150.0, "clean_up": 10.0, "scallop": 1.5},
        "blank": {"thickness": 150.0, "tolerance": 5.0, "spoil_board": 150.0},
        "bed": {"thickness": 150.0, "face": 5.0, "pin_diameter": 30.0, "pin_depth": 80.0},
        "groove": {"inside": 100.0, "outside": 100.0, "floor": 60.0, "least_floor": 15.0},
        "plug": {"diameter": 120.0, "bolt_hole": 40.0},
        "insert": {
            "barrel": 40.0, "flange": 80.0, "flange_thickness": 15.0, "length": 80.0, "recess": 8.0,
            "clearance": 3.0,
        },
        "dowel": {"diameter": 30.0, "depth_in_bed": 80.0, "stand": 60.0},
        "skim": {"step": 5.0, "largest_step": 12.0},
        "cast": {"fill_margin": 8.0, "pour_short": 8.0},
        "machine": {"safe_z": 120.0, "travel": 6000.0, "rapid": 100_000.0, "corner_deviation": 1.0},
        "cutter": {
            "diameter": 80.0, "corner_radius": 30.0, "cutting_length": 160.0, "stick_out": 220.0,
            "chip_load": 1.2,
            "depth_a_pass": 60.0, "feed": 40_000.0,
        },
        "obstacle": {"height": 200.0},
        "tolerances": {"thickness": 2.0, "bed": 2.0, "flat": 3.0, "touch": 2.0, "machine": 2.0,
        "cutter_diameter": 1.0},
    }
)  # fmt: skip
"""Most that a key can be meant to be, mm (feeds mm/min), by section and key."""

# keys named in the message, at most
_MOST = 12


def half_converted(
    sections: Mapping[str, Any], document: Mapping[str, Any], inch: bool
) -> list[Fault]:
    """Return the faults for keys typed in inches that look like mm: one that names them all, and
    one for each.

    `sections` are the valid ones, lengths in mm; `document` is the job as typed, in inches where
    `inch`. Values from a table of hardware and defaults are not judged, since nobody typed them.
    """
    found = [key_of(path) for path in _suspects(sections, document, inch)]
    if not found:
        return []
    names = ", ".join(found[:_MOST]) + (
        f" and {len(found) - _MOST} more" if len(found) > _MOST else ""
    )
    says = f"the job is in inches, and these keys look like mm: {names}"
    each = [
        Fault(key, "looks like mm in a file in inches", allowed="inches: a length in mm by 25.4")
        for key in found
    ]
    if not inch:
        return each
    return [Fault("units", says, allowed='all lengths in inches, or units = "mm"'), *each]


def _in_inches(value: Any, inch: bool) -> bool:
    """Whether a value was typed in inches, into the job or into a shop file."""
    first = value[0] if isinstance(value, list) and value else value
    if isinstance(first, Millimetres):
        return isinstance(first, Inches)
    return inch and value is not None


def _suspects(
    sections: Mapping[str, Any], document: Mapping[str, Any], inch: bool
) -> Iterator[Path]:
    for name, keys in LARGEST.items():
        held, typed = sections.get(name), document.get(name)
        rows = held if isinstance(held, tuple) else (held,)
        tables = typed if isinstance(typed, list) else [typed]
        for place, (row, table) in enumerate(zip(rows, tables, strict=False)):
            for key, most in keys.items():
                if (
                    row is None
                    or not isinstance(table, dict)
                    or not _in_inches(table.get(key), inch)
                ):
                    continue
                value = getattr(row, key)
                largest = max(value) if isinstance(value, tuple) else value
                # Too large as it is, but within the limit if it was meant in mm. Larger still is
                # some other mistake.
                if most < largest <= most * MM_PER_INCH:
                    yield (name, place, key) if isinstance(held, tuple) else (name, key)
