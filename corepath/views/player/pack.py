"""Arrays as short text for a page: whole numbers, differences of neighbours, deflated (RFC 1950),
base64 (RFC 4648).

The page undoes it with what each browser brings along. The same arrays give the same text.
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
"""Stands for a column in which nothing is left."""


def numbers(values: NDArray[Any], step: float = 1.0) -> str:
    """One row of numbers, (n,), rounded to steps, as differences in 32 bits, wrapping."""
    whole = np.round(np.asarray(values, dtype=np.float64) / step).astype(np.int64)
    return _packed(np.diff(whole, prepend=0).astype("<i4").tobytes())


def heights(face: NDArray[np.floating]) -> str:
    """A face (ny, nx), mm, NaN where nothing is: differences along the rows in 16 bits,
    wrapping."""
    whole = np.where(np.isfinite(face), np.round(np.nan_to_num(face) / HEIGHT_STEP), NOTHING)
    return _packed(np.diff(whole.ravel(), prepend=0.0).astype(np.int64).astype("<i2").tobytes())


def text(words: str | bytes) -> str:
    """A text, UTF-8, or bytes as they are."""
    return _packed(words.encode("utf-8") if isinstance(words, str) else words)


def _packed(data: bytes) -> str:
    return base64.b64encode(zlib.compress(data, 6)).decode("ascii")
