"""Bytes of a file that a deck comes from, and what was made of them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from corepath.errors import Fault, InputError
from corepath.job.text.regular import TooLarge, read_regular, shown_name, size_text
from corepath.lengths import MM_PER_INCH

__all__ = ["LARGEST_FILE", "MM", "BoardNodes", "FileHeights", "digest_of", "read_bytes"]

MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": MM_PER_INCH}

LARGEST_FILE = 256 * 2**20
"""bytes: a larger file is refused rather than read into memory."""


@dataclass(frozen=True, slots=True)
class BoardNodes:
    """The nodes of the deck's grid, `xs` (n,) by `ys` (m,), mm, board frame; those `inside` (n, m)
    the `outline` need heights."""

    xs: NDArray[np.float64]
    ys: NDArray[np.float64]
    inside: NDArray[np.bool_]
    outline: Polygon


class FileHeights(NamedTuple):
    """Holds the heights (n, m) at the nodes asked for, mm, NaN where there are none, and cautions
    about their file."""

    at: NDArray[np.float64]
    cautions: tuple[str, ...] = ()


def read_bytes(path: Path, key: str, sha256: str | None = None) -> bytes:
    """Returns the file's bytes. Raises InputError, at `key` of the job, where it is missing, larger
    than `LARGEST_FILE`, or not the one that `sha256` names."""
    try:
        data = read_regular(path, LARGEST_FILE)
    except TooLarge:
        allowed = f"at most {size_text(LARGEST_FILE)}"
        raise InputError(
            [Fault(key, f"{shown_name(path)} is larger than is read", allowed=allowed)]
        ) from None
    except (OSError, ValueError) as error:
        says = f"{shown_name(path)} cannot be read: {getattr(error, 'strerror', None) or error}"
        raise InputError([Fault(key, says, allowed="a file beside the job file")]) from None
    if sha256 is not None and digest_of(data) != sha256:
        says = f"{path.name} is not the file that deck.sha256 names"
        raise InputError([Fault("deck.sha256", says, sha256[:12] + "…", digest_of(data))])
    return data


def digest_of(data: bytes) -> str:
    """Returns the SHA-256 of `data` in 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()
