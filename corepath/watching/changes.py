"""Detect that the contents of a few files have changed, and that nobody is still writing them.

The contents are compared a few times a second instead of waiting for events of the system: there
are only a handful of small files, and editors that write a new file and rename it, network folders,
and systems that lose events all look the same this way. A large file is read again only when its
size, time or inode has changed. A change counts once the files stay the same for `SETTLE` seconds,
or for `GONE` seconds where one is missing, as it is between the two renames of an editor.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterable
from pathlib import Path

from corepath.job.text.regular import open_regular

__all__ = ["GONE", "SETTLE", "Changes"]

SETTLE = 0.2
# An editor that renames brings the file back at once; planning without it would report a fault.
GONE = 1.0
_SMALL = 2**20  # bytes: read each time

State = dict[Path, str | None]
"""The digest of each file's contents; None of one that is not there."""


class Changes:
    """Watches files for changes of their contents.

    `files` is called at every look and returns the files, or None while they are not known (the
    last ones are then kept); `now` is a clock in seconds.
    """

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
        """Whether something differs from what was taken, and has stayed the same since for long
        enough."""
        state = self._state()
        # A difference from the look before: the file is still being written, so wait again.
        if state != self._seen:
            self._seen, self._since = state, self._now()
            return False
        if state == self._taken:
            return False
        # Only a file that was there before: one that was always missing is not about to come back.
        gone = any(
            digest is None and self._taken.get(path) is not None for path, digest in state.items()
        )
        return self._now() - self._since >= (GONE if gone else SETTLE)

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
