"""All that a skin's check, report and maps are drawn from, worked out once.

The need for pressure has two parts, both in bar, positive where the skin must be pressed down: that
of the plate (`corepath.skin.plate`) and that of the stresses in its plane
(`corepath.skin.membrane`), whose tension bridges hollows and whose compression lifts off crowns: t
(s_xx h_xx + s_yy h_yy + 2 s_xy h_xy) (von Kármán 1910).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.job.model import Job
from corepath.skin.bending import SkinBending, bend
from corepath.skin.membrane import Membrane, stretch
from corepath.skin.plate import Pressure, bending_pressure
from corepath.skin.terms import (
    BAR,
    Laminate,
    PlacedFigure,
    SkinCover,
    laminate_of,
    largest,
)

__all__ = ["SkinStudy", "study_skin"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SkinStudy:
    """All that is worked out for a skin on a deck. `need_all` (n, m), bar, is the need with the
    membrane's part, on the lattice of `pressure`; `most_all` the largest of it; `together` the
    largest of bending and membrane strain in one place; `tension` and `compression` the largest of
    the membrane, both positive."""

    skin: Laminate
    cover: SkinCover
    bending: SkinBending
    pressure: Pressure
    membrane: Membrane
    need_all: Floats
    most_all: PlacedFigure
    together: PlacedFigure
    tension: PlacedFigure
    compression: PlacedFigure

    @property
    def bridges(self) -> float:
        """Share of the covered ground over which the plate alone bridges at the pressure at
        hand."""
        return self._share(self.pressure.need)

    @property
    def bridges_all(self) -> float:
        """The same with the membrane's part."""
        return self._share(self.need_all)

    def _share(self, need: Floats) -> float:
        covered = self.cover.holds(self.pressure.xs, self.pressure.ys)
        return float(np.count_nonzero(need > self.skin.bar)) / max(
            int(np.count_nonzero(covered)), 1
        )


def study_skin(
    job: Job, deck: DeckSurface, cover: SkinCover, membrane_step: float | None = None
) -> SkinStudy:
    """Returns the study of the skin of `job` on `deck` over `cover`; a coarser `membrane_step`
    (mm) serves trials. Raises ValueError for a job without `[skin]`."""
    if job.skin is None:
        raise ValueError("the job has no [skin]")
    skin = laminate_of(job.skin)
    bending = bend(deck, cover, skin)
    pressure = bending_pressure(deck, cover, skin)
    membrane = stretch(deck, cover, skin, membrane_step)
    covered = cover.holds(pressure.xs, pressure.ys)
    need_all = (
        pressure.need + _spread(membrane, membrane.pulls, pressure.xs, pressure.ys) / BAR
    ) * covered
    strained = np.maximum(np.abs(membrane.tension), np.abs(membrane.compression))
    # Both strains are largest in the outer fibre of their own direction; their sum bounds what any
    # fibre gets. Off the skin, where bending is 0, nothing is added.
    together = bending.strains + _spread(membrane, strained, bending.xs, bending.ys) * (
        bending.strains > 0.0
    )
    return SkinStudy(
        skin=skin,
        cover=cover,
        bending=bending,
        pressure=pressure,
        membrane=membrane,
        need_all=need_all,
        most_all=largest(need_all, pressure.xs, pressure.ys),
        together=largest(together, bending.xs, bending.ys),
        tension=largest(membrane.tension, membrane.xs, membrane.ys),
        compression=largest(-membrane.compression, membrane.xs, membrane.ys),
    )


def _spread(membrane: Membrane, values: Floats, xs: Floats, ys: Floats) -> Floats:
    """`values` on the membrane's lattice, linear between its nodes, at `xs` by `ys`."""
    along = _between(membrane.xs, xs)
    across = _between(membrane.ys, ys)
    rows = values[along[0]] * (1.0 - along[1])[:, None] + values[along[0] + 1] * along[1][:, None]
    return np.asarray(rows[:, across[0]] * (1.0 - across[1]) + rows[:, across[0] + 1] * across[1])


def _between(nodes: Floats, at: Floats) -> tuple[NDArray[np.int64], Floats]:
    first = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, len(nodes) - 2)
    share = (at - nodes[first]) / (nodes[first + 1] - nodes[first])
    return first.astype(np.int64), np.clip(share, 0.0, 1.0)
