"""What a record needs to know of its job, to refuse what cannot be and to say what comes next.

Plain data, lengths in mm, places in the board frame. Whatever needs the board's geometry is optional: a record can be
kept for a job whose geometry has faults. `corepath.stackup.record_facts` fills it in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

__all__ = ["CastingFacts", "JobFacts"]


@dataclass(frozen=True, slots=True)
class CastingFacts:
    """A casting: the operation that cuts its pocket, its depth in a blank of nominal thickness, its width.

    `distance(x, y)` is how far a place lies off it, 0 inside; None where the geometry is not known. `places` are good
    places to measure its depth.
    """

    id: str
    operation: str
    depth: float
    distance: Callable[[float, float], float] | None = None
    places: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class JobFacts:
    """One job. `planes` are those of the skim's passes, highest first, empty where they are not known.

    `operations` are those that this job has, in order; `measured` tells that a file of measured places is named in it.
    """

    file: str
    units: str
    title: str
    length: float
    width: float
    thickness: float
    tolerance: float
    groove_width: float
    castings: Mapping[str, CastingFacts]
    operations: tuple[str, ...]
    cutters: Mapping[int, float]
    planes: tuple[float, ...] = ()
    planned_stop: int | None = None
    measured: bool = False

    @property
    def scale(self) -> float:
        """mm in one of the job's units of length."""
        return 25.4 if self.units == "inch" else 1.0

    def shown(self, length: float) -> str:
        """A length in the job's units, as messages give it."""
        digits = 4 if self.units == "inch" else 3
        text = f"{length / self.scale:.{digits}f}".rstrip("0").rstrip(".")
        return "0" if text == "-0" else text

    def on_blank(self, at: tuple[float, float]) -> bool:
        """Whether a place lies on the blank."""
        return abs(at[0]) <= self.length / 2 and abs(at[1]) <= self.width / 2
