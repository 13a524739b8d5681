"""Rounding of the deck's creases."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corepath.board.form import DeckForm

__all__ = ["round_creases"]

Floats = NDArray[np.float64]


def round_creases(form: DeckForm, xs: Floats, ys: Floats, raw: Floats, radius: float) -> Floats:
    return raw
