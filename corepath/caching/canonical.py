"""A digest of values by their exact content: equal digests mean equal values, to the last bit.

Every value is written with its type and length before it, so that no two different values can give
the same bytes. Floats go in as their 8 bytes, arrays as type, shape and bytes, geometry as
well-known binary (OGC 06-103r4), objects as the name of their class and all of their fields.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Callable, Mapping
from dataclasses import fields
from enum import Enum
from functools import singledispatch
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from corepath.lengths import marked

__all__ = ["key_of"]

_SIZE = 32  # bytes of a digest

_Take = Callable[[bytes], None]


def key_of(*values: object) -> str:
    """Return the digest of the values as hexadecimal digits, fit for the name of a file.

    Numbers, texts, arrays, geometry, tuples, lists, mappings, dataclasses and objects with a
    property `key_parts` are known. Raises TypeError for any other: a digest that leaves something
    out would be worse than none.
    """
    digest = hashlib.blake2b(digest_size=_SIZE)
    _feed(values, digest.update)
    return digest.hexdigest()


def _head(take: _Take, kind: str, length: int = 0) -> None:
    name = kind.encode()
    take(struct.pack("<II", len(name), length) + name)


def _bytes(take: _Take, kind: str, content: bytes) -> None:
    _head(take, kind, len(content))
    take(content)


def _all(take: _Take, kind: str, parts: tuple[object, ...]) -> None:
    _head(take, kind, len(parts))
    for part in parts:
        _feed(part, take)


def _class_name(value: object) -> str:
    return f"{type(value).__module__}.{type(value).__qualname__}"


@singledispatch
def _feed(value: Any, take: _Take) -> None:
    """Hand the canonical bytes of a value to `take`."""
    if hasattr(type(value), "key_parts"):
        _all(take, _class_name(value), tuple(value.key_parts))
    elif hasattr(type(value), "__dataclass_fields__"):
        parts = ((field.name, getattr(value, field.name)) for field in fields(value))
        _all(take, _class_name(value), tuple(parts))
    else:
        raise TypeError(f"no digest of a {_class_name(value)}")


@_feed.register
def _(value: None, take: _Take) -> None:
    _head(take, "none")


@_feed.register
def _(value: int, take: _Take) -> None:
    _bytes(take, type(value).__name__, str(int(value)).encode())


@_feed.register
def _(value: float, take: _Take) -> None:
    _bytes(take, "float", struct.pack("<d", value))


@_feed.register
def _(value: str, take: _Take) -> None:
    # with its marks: the same text in mm may read otherwise in inches
    _bytes(take, "text", marked(value).encode("utf-8", "surrogatepass"))


@_feed.register
def _(value: bytes, take: _Take) -> None:
    _bytes(take, "bytes", value)


@_feed.register
def _(value: Enum, take: _Take) -> None:
    _all(take, _class_name(value), (value.name,))


@_feed.register(tuple)
@_feed.register(list)
def _(value: tuple[object, ...] | list[object], take: _Take) -> None:
    _all(take, _class_name(value), tuple(value))


@_feed.register
def _(value: Mapping, take: _Take) -> None:  # type: ignore[type-arg]
    _all(take, "mapping", tuple(value.items()))


@_feed.register
def _(value: np.generic, take: _Take) -> None:
    _bytes(take, value.dtype.str, value.tobytes())


@_feed.register
def _(value: np.ndarray, take: _Take) -> None:
    if value.dtype.hasobject:
        raise TypeError("no digest of an array of objects")
    _all(take, value.dtype.str, value.shape)
    take(value.tobytes())


@_feed.register
def _(value: BaseGeometry, take: _Take) -> None:
    _bytes(take, "geometry", shapely.to_wkb(value, output_dimension=3))
