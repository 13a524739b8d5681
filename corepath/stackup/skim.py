"""The skim schedule: the planes of the passes and at which of them the castings show.

Planes are heights above the bed in B, in the order cut (highest first); passes count from 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from corepath.stackup.linear import Linear

__all__ = ["TIE", "SkimPlan", "plan_skim"]

TIE = 1e-6
"""mm: planes closer than this to a limit count as at the limit, so that no verdict hangs on float noise."""


@dataclass(frozen=True, slots=True)
class SkimPlan:
    """`planes` (mm, highest first) and pass numbers, None where no pass does.

    `first_sight`: the first pass at which any casting may show (best case). `earliest`, `likely`,
    `latest`: the first by which all show in the best, nominal and worst case. `planned_stop`: `latest`,
    or the last pass where even that does not show all.
    """

    planes: tuple[float, ...]
    lowest_plane: float
    first_sight: int | None
    earliest: int | None
    likely: int | None
    latest: int | None
    planned_stop: int

    @property
    def planned_plane(self) -> float:
        return self.planes[self.planned_stop - 1]

    @property
    def thickest_plane(self) -> float:
        """The plane of the earliest stop: the thickest stock that the next steps may meet."""
        return self.planes[(self.earliest or self.planned_stop) - 1]

    @property
    def first_stop(self) -> int:
        """The pass after which the combined file stops first."""
        return self.first_sight or self.planned_stop

    def as_dict(self) -> dict[str, Any]:
        return {
            "planes": [round(plane, 4) for plane in self.planes],
            "lowest_plane": round(self.lowest_plane, 4),
            "first_sight": self.first_sight,
            "earliest": self.earliest,
            "likely": self.likely,
            "latest": self.latest,
            "planned_stop": self.planned_stop,
        }


def plan_skim(lowest_plane: float, step: float, highest_top: float, shows_at: Sequence[Linear]) -> SkimPlan:
    """Planes lowest_plane + k x step below the thickest blank's top, and who shows when.

    `shows_at` is, for each casting, the highest plane at which it shows, less the error of the plane
    itself (D + gB - e). A blank too thin for
    any plane still gets the lowest one, so that the checks can say so.
    """
    count = max(1, int((highest_top - lowest_plane - TIE) // step) + 1)
    planes = tuple(round(lowest_plane + k * step, 9) for k in range(count - 1, -1, -1))

    def first_at_or_below(limit: float) -> int | None:
        return next((k for k, plane in enumerate(planes, start=1) if plane <= limit + TIE), None)

    latest = first_at_or_below(min(casting.worst()[0] for casting in shows_at))
    return SkimPlan(
        planes=planes,
        lowest_plane=lowest_plane,
        first_sight=first_at_or_below(max(casting.worst()[1] for casting in shows_at)),
        earliest=first_at_or_below(min(casting.worst()[1] for casting in shows_at)),
        likely=first_at_or_below(min(casting.nominal for casting in shows_at)),
        latest=latest,
        planned_stop=latest or len(planes),
    )
