"""The list of holes: what each is, where it lies, how it is made and by which file. Lengths in mm.

`at` is the place in the board frame, `lies` the place in the bed frame of its set-up (B is mirrored by the flip);
`depth` counts from the face that is up, `floor` is the height above the bed, for inserts at the planned stop.
"""

from __future__ import annotations

from typing import Any

from corepath.job.pose import pose_of
from corepath.job.tables import hardware
from corepath.lengths import mm
from corepath.operations.drilling import peck_of
from corepath.planning.prepare import Prepared
from corepath.work.model import SAME_SIZE, Hole, Step, Work

__all__ = ["holes_report"]


def holes_report(prepared: Prepared) -> list[dict[str, Any]]:
    """One entry for each hole of dowels and inserts, in the order of the operations and of the job."""
    found: dict[str, dict[str, Any]] = {}
    for work in prepared.works:
        if work.name not in ("dowels", "inserts"):
            continue
        for hole in work.holes:
            entry = found.setdefault(hole.id, _entry(prepared, work, hole))
            top = max(hole.top, work.stock_top)
            for step in hole.steps:
                what = "seat" if step.spring else "bore"
                entry[what] = {
                    "diameter": _round(step.diameter),
                    "depth": _round(top - step.floor),
                    "floor": _round(step.floor),
                    "made": _made(work, hole, step),
                    "cutter": work.cutter.number,
                    "file": f"{work.stem}.nc",
                }
    return list(found.values())


def _entry(prepared: Prepared, work: Work, hole: Hole) -> dict[str, Any]:
    x, y = pose_of(prepared.job, work.setup).place(hole.x, hole.y)
    entry: dict[str, Any] = {
        "id": hole.id,
        "kind": "dowel" if work.name == "dowels" else "insert",
        "setup": work.setup,
        "at": [_round(x), _round(y)],
        "lies": [_round(hole.x), _round(hole.y)],
        "ends": "in the spoil board",
    }
    for place in prepared.board.places:
        if place.id == hole.id:
            insert = place.insert
            entry["name"] = insert.name
            entry["ends"] = "in the spoil board" if insert.through else "in the wood; the deck pass opens it"
            row = hardware().get(insert.hardware or "")
            entry["hardware"] = (
                None if row is None else {"name": row.name, "title": row.title, "says": row.says(insert)}
            )
    return entry


def _made(work: Work, hole: Hole, step: Step) -> str:
    """How a step is made, in words; the G word where the control takes cycles."""
    if step.diameter > work.cutter.diameter + SAME_SIZE:
        return "helix and turns"
    peck = peck_of(work, hole.top - step.floor)
    words = f"drilled, pecks of {mm(peck):g}" if peck else "drilled in one stroke"
    if not work.milling.canned:
        return words
    return f"{words} (G83)" if peck else f"{words} (G81)"


def _round(value: float) -> float:
    return round(float(value), 4) + 0.0
