"""Pack arrays into short text for a page: whole numbers, differences of neighbours, deflated (RFC
1950), base64 (RFC 4648).

The page unpacks them with functions that every browser has. The same arrays give the same text.
"""

from __future__ import annotations

import base64
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "HEIGHT_STEP",
    "NOTHING",
    "TIME_STEP",
    "UNIT",
    "height_step",
    "heights",
    "numbers",
    "text",
]

UNIT = 0.0001
"""mm of one step of a coordinate: the last decimal of a file."""

TIME_STEP = 0.0001
"""Seconds of one step of a time."""

HEIGHT_STEP = 0.005
"""mm of one step of a height, where sixteen bits reach: from -163 to 163 mm."""

NOTHING = -32768
"""The number of a column in which nothing is left: the one that no height in reach has."""


def numbers(values: NDArray[Any], step: float = 1.0) -> str:
    """Pack one row of numbers (n,), rounded to steps, as differences in 32 bits, wrapping."""
    # Rounded before the differences are taken, so that their errors do not add up. A difference
    # that overflows wraps, and adding it up in 32 bits wraps back.
    whole = np.round(np.asarray(values, dtype=np.float64) / step).astype(np.int64)
    return _packed(np.diff(whole, prepend=0).astype("<i4").tobytes())


def height_step(farthest: float) -> float:
    """Return the step of heights up to `farthest` mm above or below 0: `HEIGHT_STEP`, doubled until
    sixteen bits reach, as for a board that stands in a steep cradle.

    >>> height_step(12.0), height_step(163.0), height_step(164.0), height_step(400.0)
    (0.005, 0.005, 0.01, 0.02)
    """
    step = HEIGHT_STEP
    while farthest / step > -NOTHING - 1:
        step *= 2.0
    return step


def heights(face: NDArray[np.floating], step: float = HEIGHT_STEP) -> str:
    """Pack a face (ny, nx), mm, NaN where there is nothing: differences along the rows in 16 bits,
    wrapping. `step` is that of `height_step`."""
    whole = np.where(np.isfinite(face), np.round(np.nan_to_num(face) / step), NOTHING)
    return _packed(np.diff(whole.ravel(), prepend=0.0).astype(np.int64).astype("<i2").tobytes())


def text(words: str | bytes) -> str:
    """Pack a text, as UTF-8, or bytes as they are."""
    return _packed(words.encode("utf-8") if isinstance(words, str) else words)


def _packed(data: bytes) -> str:
    return base64.b64encode(zlib.compress(data, 6)).decode("ascii")
