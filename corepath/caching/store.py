"""Take a result from a store of kept ones, or make it and keep it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from corepath.caching.canonical import key_of
from corepath.caching.kept_entry import KeptEntry

__all__ = ["NOTHING", "KeptKind", "Store", "kept"]

Result = TypeVar("Result")


class Store(Protocol):
    """Keeps entries by key. It loses any of them at any time, but never returns another one."""

    def read(self, key: str) -> KeptEntry | None:
        """Return the entry that was written under `key`; None where it is not there or not
        whole."""

    def write(self, key: str, entry: KeptEntry) -> None:
        """Keep an entry under `key`, if that can be done; no error is raised where it cannot."""


class _Nothing:
    """A store that keeps nothing."""

    def read(self, key: str) -> KeptEntry | None:
        return None

    def write(self, key: str, entry: KeptEntry) -> None:
        pass


NOTHING: Store = _Nothing()


@dataclass(frozen=True, slots=True)
class KeptKind(Generic[Result]):
    """How a kind of result is kept: `name` says what it is the result of, and is part of the key;
    `unpack` undoes `pack`."""

    name: str
    pack: Callable[[Result], KeptEntry]
    unpack: Callable[[KeptEntry], Result]


def kept(
    store: Store, form: KeptKind[Result], inputs: tuple[object, ...], make: Callable[[], Result]
) -> Result:
    """Return what `make` returns, from the store where that has it.

    `inputs` are all that the result depends on, but for the code itself and the machine. What
    `make` raises is raised, and nothing is kept then.
    """
    if store is NOTHING:
        return make()
    from corepath.caching.basis import basis

    key = key_of(form.name, basis(), *inputs)
    entry = store.read(key)
    if entry is not None:
        with suppress(Exception):  # an entry that is whole may still be no such result
            return form.unpack(entry)
    made = make()
    entry = form.pack(made)
    # A field that `pack` does not know yet would come back as its default: not kept then.
    if form.unpack(entry) == made:
        store.write(key, entry)
    return made
