"""A job with other values, set by key as faults name them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from corepath.job.model import Job
from corepath.job.text.positions import Path
from corepath.job.text.source import path_of
from corepath.stackup.advice.fix import Value
from corepath.stackup.skim import TIE

__all__ = ["OF_DECK", "changed_job", "other_core", "value_of"]

OF_DECK = ("board.", "deck.stations")
"""How keys begin that change the shape of the deck."""


def changed_job(job: Job, values: Mapping[str, Value]) -> Job:
    """Returns the job with these values (mm or flags) in it, by key such as `insert[1].recess`."""
    for key, value in values.items():
        job = _set(job, path_of(key), value)
    return job


def _set(held: Any, path: Path, value: Value) -> Any:
    if not path:
        return value
    part, rest = path[0], path[1:]
    if isinstance(held, BaseModel):
        name = str(part)
        return held.model_copy(update={name: _set(getattr(held, name), rest, value)})
    rows = list(held)
    rows[int(part)] = _set(rows[int(part)], rest, value)
    return tuple(rows)


def value_of(job: Job, key: str) -> Any:
    """Returns the value of a key."""
    held: Any = job
    for part in path_of(key):
        held = held[part] if isinstance(part, int) else getattr(held, part)
    return held


def other_core(job: Job, thickness: float) -> dict[str, float]:
    """Returns the values of a core `thickness` mm thick: the stations of the deck that are thicker,
    or else the thickest of them, are brought to it."""
    highest = min(thickness, job.core_thickness)
    stations = enumerate(job.deck.stations or (), 1)
    values = {
        f"deck.stations[{k}][2]": thickness for k, (_, deck) in stations if deck > highest - TIE
    }
    return {"board.thickness": thickness, **values}
