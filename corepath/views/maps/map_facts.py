"""The contents of one map of the blank: in the board's frame, or seen from below in the bed frame
of B. Lengths in mm."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from shapely import Polygon

from corepath.board.features import Board, Casting
from corepath.job.model import Job
from corepath.job.pose import Pose, pose_of
from corepath.stackup.pass_shows import PassShows
from corepath.stackup.stations import Over, Sampled, Station

__all__ = ["MapSheet"]

MARKS = 16
"""Number of places along the ring that get a number."""


@dataclass(frozen=True, slots=True)
class MapSheet:
    """The contents of one map.

    `thickness` is the blank's nominal one. `figure` gives the mapped height of a casting over
    places, `sampled` its values along each of `castings`, in the same order; `seal` are (casting,
    station) to be sealed. The castings `gauged` have measured floors of their own. `passes` say
    what shows after each pass, nominal; empty on maps of something else.
    """

    job: Job
    board: Board
    thickness: float
    castings: Sequence[Casting]
    gauged: frozenset[str]
    title: str
    message: str
    darker: Literal["low", "high"]
    below: bool
    figure: Callable[[Casting], Over]
    sampled: Sequence[Sampled]
    seal: Sequence[tuple[int, int]]
    limit: float | None
    passes: Sequence[PassShows]
    planned_stop: int | None
    cautions: Sequence[str]
    digest: str

    @property
    def pose(self) -> Pose:
        return pose_of(self.job, "B" if self.below else "A")

    def seen(self, shape: Polygon) -> Polygon:
        """Return a shape of the board as it is seen in the map's set-up."""
        return self.pose.shape(shape)

    def over(self, casting: Casting) -> Over:
        """Return the mapped height of a casting over places (x, y) of the frame drawn."""
        fx, fy = self.pose.factors
        plain = self.figure(casting)
        return lambda x, y: plain(np.asarray(x) * fx, np.asarray(y) * fy)

    def at(self, station: Station) -> tuple[float, float]:
        """Return where a station lies as it is seen in the map's set-up, mm."""
        return self.pose.place(station.x, station.y)

    @property
    def marked(self) -> list[int]:
        """The ring's stations that get a number, evenly along it."""
        count = len(self.sampled[0].stations)
        return [round(k * count / MARKS) for k in range(MARKS)]
