"""Where the places of a plug or insert lie: those typed, those of its pattern, and mirror images.

A place is [x, y] in the board frame; the unit does not matter, it is that of the job.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

__all__ = ["Mirror", "all_places", "images", "most_places", "pattern_places"]

Mirror = Literal["ends", "sides", "both"]

_Place = tuple[float, float]

_SIGNS: Mapping[str, tuple[_Place, ...]] = {
    "ends": ((-1.0, 1.0),),
    "sides": ((1.0, -1.0),),
    "both": ((-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)),
}
_SAME = 1e-6
"""Places closer than this in X and in Y are one."""


def pattern_places(
    at: Sequence[float], rows: int, columns: int, pitch: Sequence[float]
) -> tuple[_Place, ...]:
    """Return the places of a pattern about its middle `at`: column by column from X- on, in each
    from Y+ down; `pitch` is from one to the next along X and along Y.

    >>> pattern_places((-248.0, 0.0), 2, 2, (40.0, 124.0))
    ((-268.0, 62.0), (-268.0, -62.0), (-228.0, 62.0), (-228.0, -62.0))
    """
    along = [at[0] + (column - (columns - 1) / 2.0) * pitch[0] for column in range(columns)]
    across = [at[1] - (row - (rows - 1) / 2.0) * pitch[1] for row in range(rows)]
    return tuple((x, y) for x in along for y in across)


def images(places: Sequence[_Place], mirror: Mirror | None) -> tuple[_Place, ...]:
    """Return the mirror images of these places, without those that fall on a place that is there
    already: a place on the axis has none.

    >>> images([(10.0, 5.0), (10.0, 0.0)], "sides")
    ((10.0, -5.0),)
    """
    found: list[_Place] = []
    for along, across in _SIGNS[mirror] if mirror else ():
        for x, y in places:
            # 0.0 and not -0.0 on an axis: zero has no sign in a file
            image = (along * x + 0.0, across * y + 0.0)
            if not _is_among(image, [*places, *found]):
                found.append(image)
    return tuple(found)


def _is_among(place: _Place, others: Sequence[_Place]) -> bool:
    return any(abs(place[0] - x) < _SAME and abs(place[1] - y) < _SAME for x, y in others)


def all_places(table: Mapping[str, Any]) -> tuple[_Place, ...]:
    """Return the places of a table of a parsed job, in its own units: typed ones, those of its
    pattern, images. Raises TypeError, KeyError or ValueError where the table has not the form."""
    places = tuple((float(x), float(y)) for x, y in table.get("at", ()))
    pattern = table.get("pattern")
    if pattern is not None:
        rows, columns = pattern.get("rows", 1), pattern.get("columns", 1)
        places += pattern_places(pattern["at"], rows, columns, pattern["pitch"])
    return places + images(places, table.get("mirror"))


def most_places(table: Mapping[str, Any]) -> int:
    """Return how many places a table of a parsed job has at most, before any is made; what has not
    the form counts as none."""
    typed, pattern, mirror = table.get("at"), table.get("pattern"), table.get("mirror")
    places = len(typed) if isinstance(typed, list) else 0
    if isinstance(pattern, dict):
        rows, columns = pattern.get("rows", 1), pattern.get("columns", 1)
        if isinstance(rows, int) and isinstance(columns, int):
            places += max(rows, 0) * max(columns, 0)
    return places * (1 + len(_SIGNS.get(mirror, ()) if isinstance(mirror, str) else ()))
