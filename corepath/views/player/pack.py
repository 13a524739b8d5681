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
    "heights",
    "numbers",
    "text",
]

UNIT = 0.0001
"""mm of one step of a coordinate: the last decimal of a file."""

TIME_STEP = 0.0001
"""Seconds of one step of a time."""

HEIGHT_STEP = 0.005
"""mm of one step of a height: sixteen bits then reach from -163 to 163 mm."""

NOTHING = -32768
"""The number of a column in which nothing is left: the one that no height in reach has."""


def numbers(values: NDArray[Any], step: float = 1.0) -> str:
    """Pack one row of numbers (n,), rounded to steps, as differences in 32 bits, wrapping."""
    # Rounded before the differences are taken, so that their errors do not add up. A difference
    # that overflows wraps, and adding it up in 32 bits wraps back.
    whole = np.round(np.asarray(values, dtype=np.float64) / step).astype(np.int64)
    return _packed(np.diff(whole, prepend=0).astype("<i4").tobytes())


def heights(face: NDArray[np.floating]) -> str:
    """Pack a face (ny, nx), mm, NaN where there is nothing: differences along the rows in 16 bits,
    wrapping."""
    whole = np.where(np.isfinite(face), np.round(np.nan_to_num(face) / HEIGHT_STEP), NOTHING)
    return _packed(np.diff(whole.ravel(), prepend=0.0).astype(np.int64).astype("<i2").tobytes())


def text(words: str | bytes) -> str:
    """Pack a text, as UTF-8, or bytes as they are."""
    return _packed(words.encode("utf-8") if isinstance(words, str) else words)


def _packed(data: bytes) -> str:
    return base64.b64encode(zlib.compress(data, 6)).decode("ascii")
