"""Typed results as the plain JSON types of `report.json`, by one rule for all of them.

`report_keys` above a class says what of it is reported. `reported` turns an object of such a class,
and all that it holds, into dicts, lists, numbers and text.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, NamedTuple, TypeVar

__all__ = ["GIVEN", "PLACES", "Key", "report_keys", "reported"]

PLACES = 4
"""Decimals of a number in the report, where nothing else is said."""

GIVEN = -1
"""In place of decimals: as many as the key says that this object is the value of."""

_Class = TypeVar("_Class", bound=type)
_KEYS: dict[type, tuple[Key, ...]] = {}


class Key(NamedTuple):
    """A key of the report: its `name`, the attribute `of` with its value, and the `places` of
    numbers (None: not rounded; `GIVEN`).

    `of` is an attribute, or a path of them such as `p.nominal`; the key's own name where it is
    empty. A method is called. Where an attribute on the path is None, so is the value. `optional`
    leaves the key out where the value is None or False. With the name `*` the keys of the value are
    put among those of the object itself.
    """

    name: str
    of: str = ""
    places: int | None = PLACES
    optional: bool = False

    def value(self, holder: Any) -> Any:
        """Return the value that `holder` has for this key, not yet encoded."""
        for part in (self.of or self.name).split("."):
            if holder is None:
                return None
            holder = getattr(holder, part)
        return holder() if callable(holder) else holder


def report_keys(*keys: str | Key) -> Callable[[_Class], _Class]:
    """Return a class decorator that sets the keys which the report has of the class, in their
    order; a text is a `Key` of that name."""
    held = tuple(Key(key) if isinstance(key, str) else key for key in keys)

    def keep(cls: _Class) -> _Class:
        _KEYS[cls] = held
        return cls

    return keep


def reported(value: Any, places: int | None = PLACES) -> Any:
    """Return `value` as plain JSON types: objects with keys and mappings become dicts, other
    collections lists.

    Numbers are rounded to `places` (None: not at all) unless a key says otherwise. Raises TypeError
    for an object without keys.
    """
    # Order matters: a `Said` is a text and a NamedTuple with keys a tuple, so both must be met
    # before the branch that takes any iterable for a list.
    if isinstance(value, float):
        # a small negative number rounds to -0.0, which says nothing and reads like a fault
        return (value if places is None else round(value, places)) + 0.0
    if value is None or isinstance(value, str | int):
        return value
    keys = _KEYS.get(type(value))
    if keys is not None:
        return dict(_entries(keys, value, places))
    if isinstance(value, Mapping):
        return {key: reported(one, places) for key, one in value.items()}
    if isinstance(value, Iterable):
        return [reported(one, places) for one in value]
    raise TypeError(f"{type(value).__name__} has no keys for the report")


def _entries(keys: Iterable[Key], holder: Any, given: int | None) -> Iterator[tuple[str, Any]]:
    for key in keys:
        value, places = key.value(holder), given if key.places == GIVEN else key.places
        if key.name == "*":
            # A frozen class holds its extra keys as a tuple of pairs: a dict could be changed.
            pairs = isinstance(value, tuple) and type(value) not in _KEYS
            value = dict(value) if pairs else value
            yield from (reported(value, places) or {}).items()
        elif not key.optional or (value is not None and value is not False):
            yield key.name, reported(value, places)
