"""Whether the contents of a few files have changed since they were last taken, and have come to
rest since.

The contents are compared, a few times a second, rather than the system's events awaited: it is a
handful of small files, and editors that write beside and rename, folders on other machines, and
systems that lose events then all look the same. Only of a large file size and times are looked at
first. A file that is being written is left alone until it stays the same for `SETTLE` seconds; one
that is gone, as between the two renames of an editor, for `GONE` seconds.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterable
from pathlib import Path

from corepath.job.text.regular import open_regular

__all__ = ["GONE", "SETTLE", "Changes"]

SETTLE = 0.2
GONE = 1.0
_SMALL = 2**20  # bytes: read each time

State = dict[Path, str | None]
"""The digest of each file's contents; None of one that is not there."""


class Changes:
    """Looks at files; `files` gives them, or None while that is not known, and is asked at every
    look."""

    def __init__(
        self, files: Callable[[], Iterable[Path] | None], now: Callable[[], float] = time.monotonic
    ) -> None:
        self._files, self._now = files, now
        self._known: tuple[Path, ...] = ()
        self._large: dict[Path, tuple[tuple[int, int, int], str]] = {}
        self._taken: State = {}
        self._seen: State = {}
        self._since = now()
        self.take()

    @property
    def seen(self) -> tuple[Path, ...]:
        """The files that differ from what was taken, at the last look."""
        return tuple(path for path in self._seen if self._seen[path] != self._taken.get(path))

    def take(self) -> None:
        """Take the contents as they are now for those that are worked on."""
        self._taken = self._seen = self._state()
        self._since = self._now()

    def look(self) -> bool:
        """Whether something differs from what was taken, and has come to rest."""
        state = self._state()
        if state != self._seen:
            self._seen, self._since = state, self._now()
            return False
        if state == self._taken:
            return False
        gone = any(
            digest is None and self._taken.get(path) is not None for path, digest in state.items()
        )
        return self._now() - self._since >= (GONE if gone else SETTLE)

    def _state(self) -> State:
        found = self._files()
        if found is not None:
            self._known = tuple(found)
        return {path: self._digest(path) for path in self._known}

    def _digest(self, path: Path) -> str | None:
        try:
            held = path.stat()
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
