"""Maps of the blank for the person at the machine: wood left under the castings, groove depth,
where castings show.

Three sheets. *Wood under* is f - gA, drawn as seen from below, since a thin place is sealed there.
*Groove depth* is T + gA - f from the raw top, which a depth gauge measures. *Shows* is D + gB, the
skim plane at which a place becomes visible, with what shows after each pass. f is the height of a
casting's floor above the bed in A, T the thickness of the blank, D the depth of the groove, gA and
gB the gap under the blank in A and B; all mm, and all from the table of heights. Darker is what
needs more attention: thin, deep, late.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from corepath.board.features import Board, Casting
from corepath.job.model import Job
from corepath.lengths import UNIT
from corepath.stackup.height_table import Course
from corepath.stackup.measuring.blank import Blank
from corepath.stackup.pass_shows import PassShows
from corepath.stackup.stations import Over, Sampled, sample
from corepath.views.maps.map_facts import MapSheet
from corepath.views.maps.map_sheet import draw_map

__all__ = ["SkimShows", "maps"]

SEAL_MARGIN = 0.2
"""mm above least_floor below which a place is marked to be sealed (common practice, no source)."""

_LOWEST_SHARE = 10.0  # percent of the stations
_SPREAD = 0.02  # mm: where all stations are this even, no tenth of them is thinner than the rest


@dataclass(frozen=True, slots=True)
class _MapKind:
    """One map: `figure` picks the height that it shows from the heights of a casting."""

    name: str
    title: str
    message: str
    darker: Literal["low", "high"]
    below: bool
    figure: Callable[[Course], Over]


@dataclass(frozen=True, slots=True)
class SkimShows:
    """What shows after each of the skim's `passes`, in the order cut, and which of them, from 1, is
    the planned stop."""

    passes: Sequence[PassShows]
    planned_stop: int | None = None


def maps(
    job: Job,
    board: Board,
    blank: Blank,
    courses: Mapping[str, Course],
    skim: SkimShows,
    *,
    digest: str,
) -> dict[str, str]:
    """Return the maps as SVG text by file name: `map-wood-under.svg`, `map-groove-depth.svg`,
    `map-shows.svg`.

    `courses` are the heights of the castings by id. Places with less wood than least_floor and
    `SEAL_MARGIN` are marked to be sealed.
    """
    out = {}
    gauged = frozenset(name for name, course in courses.items() if course.gauged)
    for kind in _kinds(blank, bool(gauged)):
        figure = _picked(kind, courses)
        sampled = sample(board.castings, figure)
        sheet = MapSheet(
            job=job,
            board=board,
            thickness=blank.nominal,
            castings=board.castings,
            gauged=gauged,
            title=kind.title,
            message=kind.message,
            darker=kind.darker,
            below=kind.below,
            figure=figure,
            sampled=sampled,
            seal=_to_seal(sampled, job) if kind.name == "wood-under" else (),
            limit=job.groove.least_floor if kind.name == "wood-under" else None,
            passes=skim.passes if kind.name == "shows" else (),
            planned_stop=skim.planned_stop,
            cautions=blank.cautions,
            digest=digest,
        )
        out[f"map-{kind.name}.svg"] = draw_map(sheet)
    return out


def _picked(kind: _MapKind, courses: Mapping[str, Course]) -> Callable[[Casting], Over]:
    return lambda casting: kind.figure(courses[casting.id])


def _kinds(blank: Blank, gauged: bool) -> tuple[_MapKind, ...]:
    gap = "" if blank.gap_measured else "; the gap is not measured and drawn as none"
    thick = "" if blank.measured else "; the blank is not measured and drawn level"
    found = "; floors as gauged" if gauged else ""
    level = f"above the bed in B, {UNIT}{thick}{found}"
    under, depth = f"f - gA, {UNIT}{gap}{found}", f"T + gA - f, {UNIT}{thick}{found}"
    return (
        _MapKind(
            "wood-under",
            "Wood left under groove and plugs",
            under,
            "low",
            True,
            lambda one: one.wood,
        ),
        _MapKind(
            "groove-depth", "Depth of groove and plugs", depth, "high", False, lambda one: one.depth
        ),
        _MapKind(
            "shows",
            "Where the castings show first and last",
            f"skim plane D + gB {level}",
            "low",
            True,
            lambda one: one.shows,
        ),
    )


def _to_seal(sampled: Sequence[Sampled], job: Job) -> tuple[tuple[int, int], ...]:
    """Return (casting, station) where the wood is thinner than least_floor and the margin, or among
    the lowest tenth of all."""
    figures = np.array([station.least for casting in sampled for station in casting.stations])
    bound = job.groove.least_floor + SEAL_MARGIN
    if float(np.ptp(figures)) > _SPREAD:
        bound = max(bound, float(np.percentile(figures, _LOWEST_SHARE)))
    return tuple(
        (c, s)
        for c, casting in enumerate(sampled)
        for s, station in enumerate(casting.stations)
        # mm: the place that set the bound is one of them.
        if station.least <= bound + 1e-9
    )
