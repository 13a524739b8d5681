"""Which bolts a hole suits, and what is said of bolt holes and of hardware from the table, in mm.

Threads and their clearance holes stand with the hardware in `data/hardware.toml`.
"""

from __future__ import annotations

from corepath.errors import Fault, InputError
from corepath.job.model import InsertSection, Job
from corepath.job.tables.builtin import Clearance, hardware, threads
from corepath.lengths import marked, mm, said_all

__all__ = ["fit_cautions", "suits"]


def suits(diameter: float) -> list[str]:
    """Return the threads for whose bolt a hole of `diameter` mm is a clearance hole, fine to
    coarse."""
    # 1e-9: a hole of just the listed size counts, also when it was converted from inches
    return [
        name
        for name, hole in threads().items()
        if hole.fine - 1e-9 <= diameter <= hole.coarse + 1e-9
    ]


def fit_cautions(job: Job) -> tuple[str, ...]:
    """Return cautions about bolt holes and about hardware from the table, in words; empty if none.

    Raises InputError for a row of hardware whose thread the table does not have.
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
        used = "" if row is None else row.message(insert)
        if used:
            said.append(f"insert {insert.name}: {marked(used)}")
        thread = _thread_of(insert, job) if row is None else row.thread
        if thread is not None:
            said += _binding(insert, thread, _hole_of(insert.hardware or "", thread))
    return said_all(said)


def _thread_of(insert: InsertSection, job: Job) -> str | None:
    """Return the thread that the job's own row of hardware gives for an insert, if one does."""
    return next((row.thread for row in job.hardware if row.name == insert.hardware), None)


def _binding(insert: InsertSection, thread: str, hole: Clearance) -> list[str]:
    """Return the caution that a bolt binds in the bore of an insert, or nothing."""
    bore = insert.bore_diameter
    if bore >= hole.fine:
        return []
    return [
        f"insert {insert.name}: its bore of {mm(bore):g~} is narrower than the fine clearance "
        f"hole of {thread}, {mm(hole.fine):g~}; a bolt that comes through binds"
    ]


def _hole_of(name: str, thread: str) -> Clearance:
    """Return the clearance holes of a row's bolt. Raises InputError for a thread that is not
    here."""
    if thread not in threads():
        says = (
            f"its row {name} in the table of hardware has the thread {thread}, for which no holes "
            "are known"
        )
        raise InputError([Fault("insert.hardware", says, allowed=", ".join(threads()))])
    return threads()[thread]


def _marked(bound: tuple[float, str]) -> tuple[float, str]:
    return mm(bound[0]), bound[1]


def _misfit(diameter: float) -> str:
    tight = [(hole.fine, name) for name, hole in threads().items() if hole.fine > diameter]
    loose = [(hole.coarse, name) for name, hole in threads().items() if hole.coarse < diameter]
    parts = []
    if loose:
        parts.append(
            "is wider than the coarse clearance hole of {1} ({0:g})".format(*_marked(max(loose)))
        )
    if tight:
        parts.append("is narrower than the fine one of {1} ({0:g})".format(*_marked(min(tight))))
    return " and ".join(parts) + ", by ISO 273 and its like"
