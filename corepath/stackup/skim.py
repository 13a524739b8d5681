"""The skim schedule: the planes of the passes and at which of them the castings show.

Planes are heights above the bed in B, mm, in the order cut (highest first); passes count from 1.
All lie on lowest_plane + k x step. A pass that begins where nothing can show yet may take several
steps at once, down to the first plane at which something may.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from corepath.job.model import Job, SkimSection
from corepath.reported import report_keys
from corepath.stackup.linear import Linear

__all__ = ["TIE", "SkimPlan", "lowest_plane", "plan_skim"]

TIE = 1e-6
"""mm: planes closer than this to a limit count as at the limit.

Planes and limits are sums of a few lengths of some 10 mm, which floats give to 1e-14; job values
have two or three decimals. So 1e-6 lies far from both: a verdict neither flips on float noise nor
forgives anything that could be measured.
"""


@report_keys(
    "planes",
    "lowest_plane",
    "first_sight",
    "earliest",
    "likely",
    "latest",
    "planned_stop",
    "recorded",
    "not_offered",
)
@dataclass(frozen=True, slots=True)
class SkimPlan:
    """The passes of the skim: `planes` (mm, highest first), and by pass number what shows when.

    `first_sight`: the first pass at which any casting may show (best case). `earliest`, `likely`,
    `latest`: the first by which all show in the best, nominal and worst case. Each is None where no
    pass goes deep enough. `planned_stop`: `latest`, or the last pass where even that does not show
    all; once a stop is recorded, that one.
    """

    planes: tuple[float, ...]
    lowest_plane: float
    first_sight: int | None
    earliest: int | None
    likely: int | None
    latest: int | None
    planned_stop: int
    recorded: bool = False
    not_offered: tuple[float, ...] = ()
    """Planes below the planned stop that are left out because a check would fail there."""

    @property
    def planned_plane(self) -> float:
        return self.planes[self.planned_stop - 1]

    @property
    def thickest_plane(self) -> float:
        """The plane of the earliest stop: the thickest stock that later operations may meet."""
        return self.planes[(self.earliest or self.planned_stop) - 1]

    @property
    def judged_plane(self) -> float:
        """The plane at which fill and rim are judged: the lowest pass, or the recorded stop."""
        return self.planned_plane if self.recorded else self.planes[-1]

    @property
    def first_stop(self) -> int:
        """The pass after which the combined file stops first."""
        return self.first_sight or self.planned_stop


def lowest_plane(job: Job, deck_highest: float) -> float:
    """Return the plane of the last pass that is planned, mm above the bed in B: the deck at its
    highest, `deck_highest` above the finished bottom, and the clean-up over it."""
    # Four decimals as in the programs: the plane that is checked is the plane that is cut.
    return round(deck_highest + job.deck.clean_up, 4)


def plan_skim(
    lowest_plane: float,
    skim: SkimSection,
    highest_top: float,
    shows_at: Sequence[Linear],
    recorded_stop: int | None = None,
    recorded_plane: float | None = None,
) -> SkimPlan:
    """Plan the passes of the skim and work out at which of them the castings show.

    `lowest_plane` and `highest_top` (the raw bottom of the thickest blank) are mm. `shows_at` holds
    for each casting, at its deepest and its shallowest place, the highest plane at which it shows,
    less the error of the plane itself (D + gB - e). `recorded_stop` and `recorded_plane` are what
    the as-cut record says of the stop, if anything. A blank too thin for any plane still gets the
    lowest one, so that the checks can say so.
    """
    # The first casting that may show, at its deepest place and with every error in its favour:
    # below that plane passes must be single steps.
    sight = max(casting.worst()[1] for casting in shows_at)
    planes = _planes(lowest_plane, skim, highest_top, sight)

    def first_at_or_below(limit: float) -> int | None:
        return next((k for k, plane in enumerate(planes, start=1) if plane <= limit + TIE), None)

    earliest = first_at_or_below(min(casting.worst()[1] for casting in shows_at))
    likely = first_at_or_below(min(casting.nominal for casting in shows_at))
    latest = first_at_or_below(min(casting.worst()[0] for casting in shows_at))
    first_sight = first_at_or_below(sight)
    if recorded_stop is not None or recorded_plane is not None:
        planes, recorded_stop = _with_stop(planes, recorded_stop or 1, recorded_plane)
        sighted, stop = min(first_sight or recorded_stop, recorded_stop), recorded_stop
        return SkimPlan(planes, lowest_plane, sighted, stop, stop, stop, stop, recorded=True)
    return SkimPlan(
        planes, lowest_plane, first_sight, earliest, likely, latest, latest or len(planes)
    )


def _with_stop(
    planes: tuple[float, ...], stop: int, plane: float | None
) -> tuple[tuple[float, ...], int]:
    """Return the planes with the recorded one among them, and its pass number.

    The schedule may have changed since it was cut (another thickness was measured), so the recorded
    plane need not be one of today's.
    """
    if plane is None:
        return planes, min(stop, len(planes))
    above = tuple(other for other in planes if other > plane + TIE)
    below = tuple(other for other in planes if other < plane - TIE)
    return (*above, plane, *below), len(above) + 1


def _planes(lowest: float, skim: SkimSection, top: float, sight: float) -> tuple[float, ...]:
    """Return the planes, highest first: down to first sight as few as the largest step allows, then
    all."""
    # TIE keeps a plane that coincides with the raw bottom out: it would cut air.
    count = max(1, int((top - lowest - TIE) // skim.step) + 1)
    # Nine decimals take the float noise of k * step away, so that equal planes compare as equal.
    lattice = [round(lowest + k * skim.step, 9) for k in range(count - 1, -1, -1)]
    close = next((k for k, plane in enumerate(lattice) if plane <= sight + TIE), len(lattice) - 1)
    kept: list[float] = []
    above = top
    for k, plane in enumerate(lattice):
        following = lattice[k + 1] if k + 1 < len(lattice) else None
        # A plane above first sight is left out where the next one is within one largest step: all
        # that the pass to first sight takes stands above the plane at which anything can show.
        needed = k >= close or following is None or above - following > skim.largest_step + TIE
        if needed:
            kept.append(plane)
            above = plane
    return tuple(kept)
