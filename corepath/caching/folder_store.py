"""A folder of kept results: private, bounded in size, and safe to delete at any time.

Whatever is wrong with it, from a full disk to a file that somebody else put there, costs the time
to work a result out again and nothing else. Several runs may use it at once: an entry is written
beside its place and then renamed, so that it is whole or not there.
"""

from __future__ import annotations

import os
import stat
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from corepath.caching.kept_entry import KeptEntry, from_bytes, to_bytes
from corepath.caching.store import NOTHING, Store

__all__ = ["MOST", "VARIABLE", "FolderStore", "cache_folder", "store_of"]

VARIABLE = "COREPATH_CACHE"
"""Names the folder instead of the user's own."""

MOST = 256 * 2**20
"""bytes that all entries together may take; the paths of a board take 3 to 8 million."""

_LARGEST = MOST // 4
"""bytes: a larger file is no entry."""
_MOST_FILES = 1000
"""Entries at most: all of them are looked through after each that is written."""
_ENDING, _HALF = ".kept", ".part"
_ABANDONED = 3600.0
"""s after which a half-written file is one that nobody is writing any more."""
_NOFOLLOW = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


def cache_folder() -> Path:
    """Return the folder for kept results: that of `VARIABLE`, else one in the user's cache folder,
    where the system has that (XDG_CACHE_HOME is respected)."""
    named = os.environ.get(VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_cache_path

    return user_cache_path("corepath", appauthor=False) / "paths"


def store_of(wanted: bool = True) -> Store:
    """Return the store in `cache_folder`; one that keeps nothing where none is wanted or that has
    no place."""
    folder = cache_folder() if wanted else Path()
    # A user without a home gets a path that begins with "~": it would end up in this folder.
    return FolderStore(folder) if folder.is_absolute() else NOTHING


@dataclass(frozen=True, slots=True)
class FolderStore:
    """Keeps each entry as a file in `folder`, which is made when first needed. All together take at
    most `most` bytes; those not used for the longest time go first."""

    folder: Path
    most: int = MOST

    def read(self, key: str) -> KeptEntry | None:
        """Return the entry kept under `key`; None where there is none that is whole and ours."""
        path = self._place(key)
        try:
            entry = from_bytes(key, _private_bytes(path))
        # Bytes with a right digest may still be no entry: any of these, from any part of it.
        except (OSError, ValueError, TypeError, LookupError):
            return None
        with suppress(OSError):
            os.utime(path)
        return entry

    def write(self, key: str, entry: KeptEntry) -> None:
        """Keep an entry, unless the folder is not ours or cannot be written to."""
        with suppress(OSError):
            if self._private():
                _write_whole(self._place(key), to_bytes(key, entry))
                self._shrink()

    def _place(self, key: str) -> Path:
        return self.folder / f"{key}{_ENDING}"

    def _private(self) -> bool:
        """Whether the folder, made where it is missing, is ours alone."""
        self.folder.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError):
            self.folder.mkdir(mode=0o700)
        found = self.folder.lstat()
        if not stat.S_ISDIR(found.st_mode) or not _ours(found):
            return False
        if os.name == "posix" and found.st_mode & 0o077:
            self.folder.chmod(0o700)
        return True

    def _shrink(self) -> None:
        """Delete the entries longest unused beyond the bounds, and what a run that was killed has
        left half written."""
        total, old = 0, time.time() - _ABANDONED
        newest_first = sorted(self._files(), key=lambda one: -one[0].st_mtime)
        for k, (found, path) in enumerate(newest_first):
            total += found.st_size
            abandoned = path.suffix == _HALF and found.st_mtime < old
            if total > self.most or k >= _MOST_FILES or abandoned:
                with suppress(OSError):
                    path.unlink()

    def _files(self) -> Iterator[tuple[os.stat_result, Path]]:
        """Yield our own files; what else lies in the folder is left alone."""
        for path in self.folder.iterdir():
            if path.suffix in (_ENDING, _HALF):
                with suppress(OSError):
                    yield path.lstat(), path


def _ours(found: os.stat_result) -> bool:
    return os.name != "posix" or found.st_uid == os.getuid()


def _private_bytes(path: Path) -> bytes:
    """Return the content of a file that nobody else could have written. Raises OSError for any
    other."""
    # no links, and no waiting for a pipe that somebody put there
    with os.fdopen(os.open(path, os.O_RDONLY | _NOFOLLOW), "rb") as file:
        found = os.fstat(file.fileno())
        loose = os.name == "posix" and found.st_mode & 0o022
        if not stat.S_ISREG(found.st_mode) or not _ours(found) or loose:
            raise PermissionError(f"{path} is not ours alone")
        if found.st_size > _LARGEST:
            raise OSError(f"{path} is no entry: too large")
        return file.read(_LARGEST + 1)


def _write_whole(path: Path, data: bytes) -> None:
    if len(data) > _LARGEST:
        return
    # mkstemp makes a file that only its owner can read
    number, half = tempfile.mkstemp(suffix=_HALF, dir=path.parent)
    try:
        with os.fdopen(number, "wb") as file:
            file.write(data)
        Path(half).replace(path)
    except BaseException:
        with suppress(OSError):
            Path(half).unlink()
        raise
