"""List the holes: what each is, where it lies, how it is made and by which file. Lengths in mm.

`at` is the place in the board frame, `lies` the place in the bed frame of its set-up (B is mirrored
by the flip); `depth` counts from the face that is up, `floor` is the height above the bed, for
inserts at the planned stop.
"""

from __future__ import annotations

from dataclasses import replace

from corepath.job.model import InsertSection
from corepath.job.pose import pose_of
from corepath.job.tables.builtin import hardware
from corepath.lengths import mm
from corepath.operations.bores.drilling import peck_of
from corepath.planning.prepare import Prepared
from corepath.work.lists import BoredStep, ListedHardware, ListedHole, ListedInsert
from corepath.work.works import SAME_SIZE, Hole, Pocket, Step, Work

__all__ = ["hole_list"]


def hole_list(prepared: Prepared) -> tuple[ListedHole, ...]:
    """Return one entry for each hole of dowels and inserts, in the order of the operations and of
    the job."""
    # Seat and bore of an insert may be cut by two works, each with a cutter of its own: the second
    # one completes the entry of the first.
    found: dict[str, ListedHole] = {}
    for work in prepared.works:
        if work.name not in ("dowels", "inserts"):
            continue
        for pocket in work.pockets:
            middle = pocket.area.centroid
            entry = _entry(prepared, work, pocket.id, (middle.x, middle.y))
            found[pocket.id] = replace(entry, seat=_milled(work, pocket))
        for hole in work.holes:
            entry = found.get(hole.id) or _entry(prepared, work, hole.id, (hole.x, hole.y))
            for step in hole.steps:
                made = _step(work, hole, step)
                entry = replace(entry, seat=made) if step.spring else replace(entry, bore=made)
            found[hole.id] = entry
    return tuple(found.values())


def _step(work: Work, hole: Hole, step: Step) -> BoredStep:
    depth = _round(max(hole.top, work.stock_top) - step.floor)
    made, file = _made(work, hole, step), f"{work.stem}.nc"
    return BoredStep(
        _round(step.diameter), depth, _round(step.floor), made, work.cutter.number, file
    )


def _milled(work: Work, pocket: Pocket) -> BoredStep:
    """Return a seat that is milled as a pocket, by its width along X."""
    left, _, right, _ = pocket.area.bounds
    depth, file = _round(pocket.top - pocket.floor), f"{work.stem}.nc"
    return BoredStep(
        _round(right - left), depth, _round(pocket.floor), "pocket", work.cutter.number, file
    )


def _entry(prepared: Prepared, work: Work, id: str, lies: tuple[float, float]) -> ListedHole:
    x, y = pose_of(prepared.job, work.setup).place(*lies)
    place = next((place for place in prepared.board.places if place.id == id), None)
    ends = "in the spoil board"
    if place is not None and not place.insert.through:
        ends = "in the wood; the deck pass opens it"
    return ListedHole(
        id=id,
        kind="dowel" if work.name == "dowels" else "insert",
        setup=work.setup,
        at=(_round(x), _round(y)),
        lies=(_round(lies[0]), _round(lies[1])),
        ends=ends,
        insert=None if place is None else _insert(place.insert),
        seat=None,
        bore=None,
    )


def _insert(insert: InsertSection) -> ListedInsert:
    row = hardware().get(insert.hardware or "")
    return ListedInsert(
        insert.name,
        None if row is None else ListedHardware(row.name, row.title, row.message(insert)),
    )


def _made(work: Work, hole: Hole, step: Step) -> str:
    """Return how a step is made, in words, with the G word where the control knows cycles."""
    if step.diameter > work.cutter.diameter + SAME_SIZE:
        return "helical bore, finishing pass"
    peck = peck_of(work, hole.top - step.floor)
    words = f"drilled, pecks of {mm(peck):g}" if peck else "drilled in one stroke"
    if not work.milling.canned:
        return words
    return f"{words} (G83)" if peck else f"{words} (G81)"


def _round(value: float) -> float:
    return round(float(value), 4) + 0.0
