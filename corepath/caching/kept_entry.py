"""One kept result as bytes: a head in JSON, arrays of floats, and a digest of all before it.

Layout: a line that names the form; the length of the head, 8 bytes; the head; the arrays, 8 bytes
a number, the lowest byte first; a digest. Nothing in it can run anything when it is read.
"""

from __future__ import annotations

import hashlib
import json
import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["KeptEntry", "from_bytes", "to_bytes"]

Floats = NDArray[np.float64]

_FORM = b"corepath kept result, form 1\n"
_DIGEST = 32  # bytes


@dataclass(frozen=True, slots=True)
class KeptEntry:
    """A kept result: `head` as plain JSON types, and arrays of floats."""

    head: Mapping[str, Any]
    arrays: tuple[Floats, ...] = ()


def to_bytes(key: str, entry: KeptEntry) -> bytes:
    """Return the entry as it is kept under `key`."""
    head = json.dumps(
        {"key": key, "head": entry.head, "shapes": [array.shape for array in entry.arrays]}
    ).encode()
    arrays = [np.ascontiguousarray(array, "<f8").tobytes() for array in entry.arrays]
    body = b"".join([_FORM, struct.pack("<Q", len(head)), head, *arrays])
    return body + _digest(body)


def from_bytes(key: str, data: bytes) -> KeptEntry:
    """Return the entry that is kept as `data`. Raises ValueError unless it is whole and that of
    `key`."""
    body = memoryview(data)[:-_DIGEST]
    if not data.startswith(_FORM) or _digest(body) != data[-_DIGEST:]:
        raise ValueError("damaged, or no kept result")
    start = len(_FORM) + 8
    end = start + struct.unpack_from("<Q", body, len(_FORM))[0]
    head = json.loads(bytes(body[start:end]))
    if head["key"] != key:
        raise ValueError("the result of something else")
    return KeptEntry(head["head"], _arrays(body[end:], head["shapes"]))


def _arrays(numbers: memoryview, shapes: list[list[int]]) -> tuple[Floats, ...]:
    found, at = [], 0
    for shape in shapes:
        size = math.prod(shape)
        array = np.frombuffer(numbers, "<f8", size, 8 * at).reshape(shape)
        found.append(array.astype(np.float64))
        at += size
    return tuple(found)


def _digest(body: bytes | memoryview) -> bytes:
    return hashlib.blake2b(body, digest_size=_DIGEST).digest()
