"""Tell when the contents of a few files have changed, and nobody is still writing them.

The system's own notices say when to look (watchfiles), and a look every other second finds what
they miss: on network folders, and where the system has no more of them to give. What counts is the
contents: a file saved again as it was is no change, however the editor saves.
"""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import AsyncIterator, Callable, Iterable
from pathlib import Path

from watchfiles import awatch

from corepath.job.text.regular import open_regular

__all__ = ["Contents", "changes_of"]

_STILL = 150
"""Milliseconds without a notice after which nobody is taken to write any more."""

_ANYWAY = 2000
"""Milliseconds after which the files are looked at without a notice."""

_GONE = 1.0
"""Seconds that a file may be missing, as it is between the two renames of an editor."""

_SMALL = 2**20  # bytes: read each time

State = dict[Path, str | None]
"""The digest of each file's contents; None of one that is not there."""


class Contents:
    """The contents of the files that `files` returns, as they were taken; None while the files are
    not known: those known before are then kept. A large file is read again only where its size,
    time or inode has changed."""

    def __init__(self, files: Callable[[], Iterable[Path] | None]) -> None:
        self._files = files
        self._known: tuple[Path, ...] = ()
        self._large: dict[Path, tuple[tuple[int, int, int], str]] = {}
        self._taken: State = {}
        self.take()

    def take(self) -> None:
        """Take the contents as they are now for those that are worked on."""
        self._taken = self._state()

    def changed(self) -> tuple[Path, ...]:
        """Return the files that differ from what was taken."""
        state = self._state()
        return tuple(path for path in state if state[path] != self._taken.get(path))

    def gone(self) -> bool:
        """Whether a file that was there when it was taken is missing."""
        state = self._state()
        return any(state.get(path) is None for path, held in self._taken.items() if held)

    def folders(self) -> frozenset[Path]:
        """Return the folders that the files lie in, and those of files that links lead to."""
        found = {path.parent for path in self._known}
        found |= {path.resolve().parent for path in self._known if path.is_symlink()}
        return frozenset(folder for folder in found if folder.is_dir())

    def _state(self) -> State:
        found = self._files()
        # A job that is half written names no files; keep watching those that it named before.
        if found is not None:
            self._known = tuple(found)
        return {path: self._digest(path) for path in self._known}

    def _digest(self, path: Path) -> str | None:
        try:
            held = path.stat()
            # The inode shows a file that was replaced by one of the same size and time.
            stamp = held.st_mtime_ns, held.st_size, held.st_ino
            if held.st_size > _SMALL and path in self._large and self._large[path][0] == stamp:
                return self._large[path][1]
            with open_regular(path) as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except (OSError, ValueError):
            return None
        if held.st_size > _SMALL:
            self._large[path] = stamp, digest
        return digest


async def changes_of(contents: Contents) -> AsyncIterator[None]:
    """Yield each time the contents differ from those taken and have come to rest, for ever; who
    hears it takes them."""
    while True:
        folders = contents.folders()
        async for _ in _notices(folders):
            if contents.changed() and not await _comes_back(contents):
                yield
            if contents.folders() != folders:
                break  # the job names a file elsewhere


async def _comes_back(contents: Contents) -> bool:
    """Wait a while for a file that is gone; return whether all is then as it was taken."""
    for _ in range(round(10 * _GONE)):
        if not contents.gone():
            break
        await asyncio.sleep(0.1)
    return not contents.changed()


async def _notices(folders: frozenset[Path]) -> AsyncIterator[None]:
    """Yield at each notice of a change in one of the folders, and now and then without one."""
    yield  # what has changed before these notices began
    try:
        async for _ in awatch(
            *sorted(folders), watch_filter=None, step=_STILL, rust_timeout=_ANYWAY,
            yield_on_timeout=True, recursive=False,
        ):  # fmt: skip
            yield
    except OSError:  # no notices here, or no more of them
        while True:
            await asyncio.sleep(_ANYWAY / 1000.0)
            yield
