"""What a page asks for, values by key, as another text of the job: each value where it stands.

The largest thickness of the deck's stations and `board.thickness` are one thing typed twice: where
one is changed, the other follows.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path as FilePath
from typing import Any

from corepath.errors import Fault, InputError
from corepath.job.text.editing import edited, split_mark, toml_text
from corepath.job.text.positions import Path
from corepath.job.text.removing import inserted, removed, with_row
from corepath.job.text.shop_file import joined
from corepath.job.text.source import parse, path_of, value_at
from corepath.planning.job_files.applying import require_own, typed_value

__all__ = ["changed", "require_readable", "with_new_row", "without"]

_THICKNESS: Path = ("board", "thickness")
_STATIONS: Path = ("deck", "stations")


def changed(text: str, typed: Mapping[str, str], file: FilePath | None = None) -> str:
    """Return the text with other values, as typed, by key; an empty one takes the key away.

    A place one behind the end of a list is added to it. `file` is the job file, whose shop file is
    looked at. Raises InputError with all that is wrong with what was typed.
    """
    faults: list[Fault] = []
    values: dict[Path, str] = {}
    gone: list[Path] = []
    for key, value in typed.items():
        path = path_of(key)
        if value.strip():
            values[path] = typed_value(path, value.strip(), faults)
        else:
            gone.append(path)
    if faults:
        raise InputError(faults)
    if file is not None:
        _require_own(text, file, {**values, **dict.fromkeys(gone, "")})
    document = _document(text)
    values.update(_one_thickness(document, values))
    for path in [path for path in values if _is_new_element(document, path)]:
        text = inserted(text, path, values.pop(path))
    text = edited(text, values)
    for path in sorted(gone, key=_last_first, reverse=True):
        if value_at(_document(text), path)[0]:
            text = removed(text, path)
    return text


def require_readable(text: str) -> None:
    """Raise InputError where a text is no TOML."""
    try:
        _document(text)
    except tomllib.TOMLDecodeError:
        says = "cannot be read as it is, and is left alone"
        raise InputError([Fault("the file", says, allowed="put it right in an editor")]) from None


def _require_own(text: str, file: FilePath, values: Mapping[Path, str]) -> None:
    """Raise InputError for keys of the shop file, which are changed there."""
    source, _ = parse(text, str(file))
    if source is not None:
        require_own(joined(source)[0], values)


def without(text: str, key: str) -> str:
    """Return the text without an element of a list, or a table of an array of tables.

    Raises InputError where the text has nothing at that key.
    """
    after = removed(text, path_of(key))
    follows = _one_thickness(_document(text), {}, _document(after))
    return edited(after, dict(follows)) if follows else after


def with_new_row(text: str, name: str, typed: Mapping[str, str]) -> str:
    """Return the text with one more table `[[name]]`, its values as typed by their names;
    those left empty are left out.

    Raises InputError with a fault for each value that its key cannot have.
    """
    faults: list[Fault] = []
    held = _document(text).get(name)
    place = len(held) if isinstance(held, list) else 0
    values = {
        one: typed_value((name, place, one), value.strip(), faults)
        for one, value in typed.items()
        if value.strip()
    }
    if faults:
        raise InputError(faults)
    return with_row(text, name, values)


def _document(text: str) -> dict[str, Any]:
    return tomllib.loads(split_mark(text)[1])


def _last_first(path: Path) -> tuple[tuple[bool, str, int], ...]:
    """Order of removal: later elements first, so that the places of the others stay."""
    return tuple(
        (isinstance(part, int), str(part), part if isinstance(part, int) else 0) for part in path
    )


def _is_new_element(document: Any, path: Path) -> bool:
    if not isinstance(path[-1], int):
        return False
    there, held = value_at(document, path[:-1])
    return there and isinstance(held, list) and path[-1] == len(held)


def _one_thickness(
    document: Any, values: Mapping[Path, str], after: Any = None
) -> Mapping[Path, str]:
    """Return what has to follow so that the thickest station and the board stay one thickness."""
    now, stations = value_at(document, _THICKNESS)[1], value_at(document, _STATIONS)[1]
    heights = _heights(stations)
    if not heights or now != max(heights):
        return {}
    if _THICKNESS in values and not any(path[:2] == _STATIONS for path in values):
        new = values[_THICKNESS]
        return {(*_STATIONS, k, 1): new for k, one in enumerate(heights) if one == now}
    if after is None:
        after = _document(_stations_text(document, values))
    later = _heights(value_at(after, _STATIONS)[1])
    if _THICKNESS in values or not later or max(later) == now:
        return {}
    return {_THICKNESS: toml_text(max(later))}


def _stations_text(document: Any, values: Mapping[Path, str]) -> str:
    """Return the deck's stations alone as a text, with those of `values` in it."""
    held = value_at(document, _STATIONS)[1]
    text = f"deck.stations = {toml_text(held)}\n"
    of_deck = {path: value for path, value in values.items() if path[:2] == _STATIONS}
    known = {path: value for path, value in of_deck.items() if value_at(document, path)[0]}
    return edited(text, known)


def _heights(stations: Any) -> list[float]:
    if not isinstance(stations, list):
        return []
    return list(_second(stations))


def _second(stations: list[Any]) -> Iterator[float]:
    for one in stations:
        if isinstance(one, list) and len(one) == 2 and isinstance(one[1], (int, float)):
            yield one[1]
