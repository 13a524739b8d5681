"""Numbers too large for any key: they would only fill memory or overflow.

Keys with a natural size have closer limits (`corepath.job.rules.consistency`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from corepath.job.model import PlacedSection
from corepath.job.text.positions import Path

__all__ = ["LARGEST", "beyond"]

LARGEST = 1e6
"""In the unit of the key: mm, mm/min, rpm, mm/s²; common practice, no source."""

_SAYS = "is too large to be meant"


def beyond(sections: Mapping[str, Any]) -> list[tuple[Path, str, str]]:
    """Return path, what is wrong and what is allowed, of each number beyond `LARGEST` in valid
    sections."""
    return [
        (path, _SAYS, f"at most {LARGEST:.0f}")
        for name, one in sections.items()
        for path in _numbers(one, (name,))
    ]


def _numbers(value: Any, path: Path) -> Iterator[Path]:
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            held = getattr(value, name)
            if isinstance(value, PlacedSection) and name == "at":
                held = held[: value.typed]  # the others follow from the pattern, a key of its own
            yield from _numbers(held, (*path, name))
    elif isinstance(value, (tuple, list)):
        for place, item in enumerate(value):
            yield from _numbers(item, (*path, place))
    elif isinstance(value, (int, float)) and abs(value) > LARGEST:
        yield path
