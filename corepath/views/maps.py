"""Maps of the blank for the person at the machine: wood left under the castings, groove depth, where castings show.

Three sheets. *Wood under* is f - gA, drawn as seen from below, since a thin place is sealed there. *Groove
depth* is T + gA - f from the raw top, which a depth gauge finds. *Shows* is D + gB, the skim plane at which a place
comes to light, with what shows after each pass. f is the height of a casting's floor above the bed in A, T the
thickness of the blank, gA and gB the gap under it in A and B; all mm. Darker is what needs more watching: thin, deep,
late.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.board.model import Board
from corepath.job.model import Job
from corepath.lengths import UNIT
from corepath.stackup.pass_shows import PassShows
from corepath.stackup.stations import MappedCasting, Over, Sampled, sample
from corepath.views.map_facts import MapSheet
from corepath.views.map_sheet import draw_map

__all__ = ["MappedBlank", "maps"]

Floats = NDArray[np.float64]

SEAL_MARGIN = 0.2
"""mm above least_floor below which a place is marked to be sealed (common practice, no source)."""

_NONE: Mapping[str, Over] = MappingProxyType({})
_LOWEST_SHARE = 10.0
_SPREAD = 0.02


class MappedBlank(Protocol):
    """What the maps need of the blank: gA and T + gA (mm) at places in the board frame, the job's T, what to mind."""

    @property
    def nominal(self) -> float: ...
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
    passes: Sequence[PassShows],
    *,
    digest: str,
    planned_stop: int | None = None,
    gauged: Mapping[str, Over] = _NONE,
    flushed: float | None = None,
    margin: float = SEAL_MARGIN,
) -> dict[str, str]:
    """The maps as SVG text by file name: `map-wood-under.svg`, `map-groove-depth.svg`, `map-shows.svg`.

    `passes` say what shows after each pass, in the order cut; `planned_stop` is one, counted from 1. `gauged` are
    depths of castings by id as a depth gauge found them, over places of the board frame: floors follow them. `flushed`
    is the height above the bed in A to which the whole face was flushed. Places with less wood than least_floor +
    `margin` are marked to be sealed.
    """
    out = {}
    for kind in _kinds(blank, gauged, flushed):
        sampled = sample(board.castings, kind.figure)
        sheet = MapSheet(
            job=job,
            board=board,
            thickness=blank.nominal,
            castings=board.castings,
            gauged=frozenset(gauged),
            title=kind.title,
            says=kind.says,
            darker=kind.darker,
            below=kind.below,
            figure=kind.figure,
            sampled=sampled,
            seal=_to_seal(sampled, job, margin) if kind.name == "wood-under" else (),
            limit=job.groove.least_floor if kind.name == "wood-under" else None,
            passes=passes if kind.name == "shows" else (),
            planned_stop=planned_stop,
            cautions=blank.cautions,
            digest=digest,
        )
        out[f"map-{kind.name}.svg"] = draw_map(sheet)
    return out


def _kinds(blank: MappedBlank, gauged: Mapping[str, Over], flushed: float | None) -> tuple[_Kind, ...]:
    def depth(casting: MappedCasting) -> Over:
        return gauged.get(casting.id, lambda x, y: np.asarray(blank.raw_top(x, y) - casting.floor))

    def floor(casting: MappedCasting) -> Over:
        if casting.id not in gauged:
            return lambda x, y: np.full(np.broadcast(x, y).shape, casting.floor)
        deep = gauged[casting.id]
        return lambda x, y: blank.raw_top(x, y) - deep(x, y)

    def wood(casting: MappedCasting) -> Over:
        below = floor(casting)
        return lambda x, y: below(x, y) - blank.gap(x, y)

    def shows(casting: MappedCasting) -> Over:
        if flushed is None:
            return depth(casting)
        below = floor(casting)
        return lambda x, y: flushed - below(x, y)

    gap = "" if blank.gap_measured else "; the gap is not measured and drawn as none"
    thick = "" if blank.measured else "; the blank is not measured and drawn level"
    found = "; floors as gauged" if gauged else ""
    level = f"above the bed in B, {UNIT}{thick}{found}"
    return (
        _Kind("wood-under", "Wood left under groove and plugs", f"f - gA, {UNIT}{gap}{found}", "low", True, wood),
        _Kind("groove-depth", "Depth of groove and plugs", f"T + gA - f, {UNIT}{thick}{found}", "high", False, depth),
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
