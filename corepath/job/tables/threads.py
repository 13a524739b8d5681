"""Threads and their clearance holes, mm.

Metric clearance holes: ISO 273:1979, series fine, medium, coarse (from memory). Inch threads:
nominal sizes of ASME B1.1, clearance holes close, normal, loose of ASME B18.2.8 (from memory,
rounded to 0.01 mm).
"""

from __future__ import annotations

from types import MappingProxyType
from typing import NamedTuple

from corepath.errors import Fault, InputError
from corepath.job.model import Job
from corepath.job.tables.builtin import Hardware, hardware
from corepath.lengths import marked, mm, said_all

__all__ = ["CLEARANCE", "Clearance", "fit_cautions", "suits"]


class Clearance(NamedTuple):
    """A thread's nominal diameter and the clearance holes of its bolt, mm."""

    nominal: float
    fine: float
    medium: float
    coarse: float


CLEARANCE = MappingProxyType(
    {
        "M3": Clearance(3.0, 3.2, 3.4, 3.6),
        "M4": Clearance(4.0, 4.3, 4.5, 4.8),
        "M5": Clearance(5.0, 5.3, 5.5, 5.8),
        "M6": Clearance(6.0, 6.4, 6.6, 7.0),
        "M8": Clearance(8.0, 8.4, 9.0, 10.0),
        "#10-24": Clearance(4.83, 5.23, 5.61, 6.05),
        "#10-32": Clearance(4.83, 5.23, 5.61, 6.05),
        "1/4-20": Clearance(6.35, 6.76, 7.14, 7.49),
    }
)


def suits(diameter: float) -> list[str]:
    """Return the threads for whose bolt a hole of `diameter` mm is a clearance hole, fine to
    coarse."""
    # 1e-9: a hole of just the listed size counts, also when it was converted from inches
    return [
        name
        for name, hole in CLEARANCE.items()
        if hole.fine - 1e-9 <= diameter <= hole.coarse + 1e-9
    ]


def fit_cautions(job: Job) -> tuple[str, ...]:
    """Return cautions about bolt holes and about hardware from the table, in words; empty if none.

    Raises InputError for a row of hardware whose thread is not in `CLEARANCE`.
    """
    said = []
    for plug in job.plug:
        if not suits(plug.bolt_hole):
            said.append(
                f"plug {plug.name}: a bolt hole of {mm(plug.bolt_hole):g~} "
                f"{_misfit(plug.bolt_hole)}"
            )
    for insert in job.insert:
        row = hardware().get(insert.hardware or "")
        if row is None:
            continue
        used = row.says(insert)
        if used:
            said.append(f"insert {insert.name}: {marked(used)}")
        hole, bore = _hole_of(row), insert.barrel + insert.clearance
        if bore < hole.fine:
            said.append(
                f"insert {insert.name}: its bore of {mm(bore):g~} is narrower than the fine "
                "clearance hole of "
                f"{row.thread}, {mm(hole.fine):g~}; a bolt that comes through binds"
            )
    return said_all(said)


def _hole_of(row: Hardware) -> Clearance:
    """Return the clearance holes of a row's bolt. Raises InputError for a thread that is not
    here."""
    if row.thread not in CLEARANCE:
        says = (
            f"its row {row.name} in the table of hardware has the thread {row.thread}, for which "
            "no holes are known"
        )
        raise InputError([Fault("insert.hardware", says, allowed=", ".join(CLEARANCE))])
    return CLEARANCE[row.thread]


def _marked(bound: tuple[float, str]) -> tuple[float, str]:
    return mm(bound[0]), bound[1]


def _misfit(diameter: float) -> str:
    tight = [(hole.fine, name) for name, hole in CLEARANCE.items() if hole.fine > diameter]
    loose = [(hole.coarse, name) for name, hole in CLEARANCE.items() if hole.coarse < diameter]
    parts = []
    if loose:
        parts.append(
            "is wider than the coarse clearance hole of {1} ({0:g})".format(*_marked(max(loose)))
        )
    if tight:
        parts.append("is narrower than the fine one of {1} ({0:g})".format(*_marked(min(tight))))
    return " and ".join(parts) + ", by ISO 273 and its like"
