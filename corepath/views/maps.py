"""Maps of the blank for the person at the machine: wood left under the castings, groove depth, where castings show.

Three sheets. *Wood under* is f - gA, drawn as seen from below, since a thin place is sealed there. *Groove
depth* is T + gA - f from the raw top, which a depth gauge finds. *Shows* is D + gB, the skim plane at which a place
comes to light, with what shows after each pass. f is the height of a casting's floor above the bed in A, T the
thickness of the blank, gA and gB the gap under it in A and B; all mm. Darker is what needs more watching: thin, deep,
late.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.board.model import Board
from corepath.job.model import Job
from corepath.stackup.showing import MappedCasting, Over, Sampled, sample, showing
from corepath.views.map_sheet import MapSheet, draw_map

__all__ = ["MappedBlank", "maps"]

Floats = NDArray[np.float64]

SEAL_MARGIN = 0.2
"""mm above least_floor below which a place is marked to be sealed (common practice, no source)."""

_LOWEST_SHARE = 10.0
_SPREAD = 0.02


class MappedBlank(Protocol):
    """What the maps need of the blank: gA and T + gA (mm) at places in the board frame, and what to mind."""

    @property
    def measured(self) -> bool: ...
    @property
    def gap_measured(self) -> bool: ...
    @property
    def cautions(self) -> tuple[str, ...]: ...
    def gap(self, x: ArrayLike, y: ArrayLike) -> Floats: ...
    def raw_top(self, x: ArrayLike, y: ArrayLike) -> Floats: ...


@dataclass(frozen=True, slots=True)
class _Kind:
    """One map: `figure` gives the height over one casting."""

    name: str
    title: str
    says: str
    darker: Literal["low", "high"]
    below: bool
    figure: Callable[[MappedCasting], Over]


def maps(
    job: Job,
    board: Board,
    blank: MappedBlank,
    planes: Sequence[float],
    *,
    digest: str,
    planned_stop: int | None = None,
    castings: Sequence[MappedCasting] | None = None,
    gap_b: Over | None = None,
    margin: float = SEAL_MARGIN,
) -> dict[str, str]:
    """The maps as SVG text by file name: `map-wood-under.svg`, `map-groove-depth.svg`, `map-shows.svg`.

    `planes` are the skim planes in the order cut, `planned_stop` a pass counted from 1. `castings` (the groove first)
    stand in for the board's where their floors are known better; `gap_b` is gB over places in the board frame,
    0 where not given. Places with less wood than least_floor + `margin` are marked to be sealed.
    """
    shown = tuple(board.castings if castings is None else castings)
    kinds = _kinds(blank, gap_b)
    out = {}
    for kind in kinds:
        sampled = sample(shown, kind.figure)
        rows = showing(sampled, planes) if kind.name == "shows" else ()
        sheet = MapSheet(
            job=job,
            board=board,
            castings=shown,
            title=kind.title,
            says=kind.says,
            darker=kind.darker,
            below=kind.below,
            figure=kind.figure,
            sampled=sampled,
            seal=_to_seal(sampled, job, margin) if kind.name == "wood-under" else (),
            limit=job.groove.least_floor if kind.name == "wood-under" else None,
            rows=rows,
            planned_stop=planned_stop,
            cautions=blank.cautions,
            digest=digest,
        )
        out[f"map-{kind.name}.svg"] = draw_map(sheet)
    return out


def _kinds(blank: MappedBlank, gap_b: Over | None) -> tuple[_Kind, ...]:
    def wood(casting: MappedCasting) -> Over:
        return lambda x, y: np.asarray(casting.floor - blank.gap(x, y))

    def depth(casting: MappedCasting) -> Over:
        return lambda x, y: np.asarray(blank.raw_top(x, y) - casting.floor)

    def shows(casting: MappedCasting) -> Over:
        deep = depth(casting)
        return lambda x, y: deep(x, y) + (0.0 if gap_b is None else gap_b(x, y))

    gap = "" if blank.gap_measured else "; the gap is not measured and drawn as none"
    thick = "" if blank.measured else "; the blank is not measured and drawn level"
    level = f"above the bed in B, mm{thick}"
    return (
        _Kind("wood-under", "Wood left under groove and plugs", f"f - gA, mm{gap}", "low", True, wood),
        _Kind("groove-depth", "Depth of groove and plugs", f"T + gA - f, mm{thick}", "high", False, depth),
        _Kind("shows", "Where the castings show first and last", f"skim plane D + gB {level}", "low", True, shows),
    )  # fmt: skip


def _to_seal(sampled: Sequence[Sampled], job: Job, margin: float) -> tuple[tuple[int, int], ...]:
    """(casting, station) where the wood is thinner than least_floor + margin, or among the lowest tenth of all."""
    figures = np.array([station.least for casting in sampled for station in casting.stations])
    bound = job.groove.least_floor + margin
    if float(np.ptp(figures)) > _SPREAD:
        bound = max(bound, float(np.percentile(figures, _LOWEST_SHARE)))
    return tuple(
        (c, s)
        for c, casting in enumerate(sampled)
        for s, station in enumerate(casting.stations)
        if station.least <= bound + 1e-9
    )
