"""How many of each thing a job may hold: more would take the checks minutes, and no board has so
many.

Counted in the document before anything is made of it. Common practice, no source: an ordinary board
has four to eight plugs and a dozen to forty inserts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

from corepath.errors import Fault
from corepath.job.places import most_places

__all__ = ["MOST_PLACES", "MOST_ROWS", "MOST_TABLES", "too_many"]

MOST_PLACES: Mapping[str, int] = MappingProxyType({"plug": 60, "insert": 250})
"""Places in all tables of the name together: entries of `at`, of patterns, and mirror images."""

MOST_TABLES: Mapping[str, int] = MappingProxyType(
    {"plug": 60, "insert": 250, "dowel": 20, "cutter": 99, "obstacle": 200, "deck.patch": 50}
)

MOST_ROWS: Mapping[str, int] = MappingProxyType(
    {
        "outline.stations": 2000,
        "outline.points": 10_000,
        "deck.stations": 1000,
        "deck.profile": 1000,
        "layup.rocker": 1000,
        "obstacle.points": 1000,
        "bed.pins": 60,
    }
)


def too_many(document: Mapping[str, Any]) -> list[Fault]:
    """Return a fault with count and limit for each list of the parsed job that is too long."""
    found = []
    for key, most in MOST_TABLES.items():
        count = sum(len(held) for held in _lists(document, key.split(".")))
        if count > most:
            found.append(Fault(key, "has too many tables", str(count), f"at most {most}"))
    for key, most in MOST_PLACES.items():
        held = document.get(key)
        tables = held if isinstance(held, list) else [held]
        places = sum(most_places(table) for table in tables if isinstance(table, dict))
        # with too many tables as well, the fault above says enough
        if places > most >= len(document[key]):
            found.append(
                Fault(
                    key,
                    "has too many places",
                    str(places),
                    f"at most {most} in all tables together",
                )
            )
    for key, most in MOST_ROWS.items():
        rows = max((len(held) for held in _lists(document, key.split("."))), default=0)
        if rows > most:
            found.append(Fault(key, "has too many entries", str(rows), f"at most {most}"))
    return found


def _lists(held: Any, keys: list[str]) -> Iterator[list[Any]]:
    """Yield every list under these keys, in one table or in each of an array of tables."""
    if not keys:
        if isinstance(held, list):
            yield held
        return
    for table in held if isinstance(held, list) else [held]:
        if isinstance(table, dict) and keys[0] in table:
            yield from _lists(table[keys[0]], keys[1:])
