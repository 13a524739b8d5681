"""Write files whole or not at all, one process at a time in a folder.

A file is written beside its place, flushed to the disk and renamed; a reader sees the earlier file
or the new one. The lock is on the folder itself and ends with the process, however that ends. Where
the system has no such lock, none is taken.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from corepath.errors import OutputError

__all__ = ["locked", "replace_file", "to_disk", "write_new"]

WAIT = 10.0
"""Seconds to wait for another process; writing a folder takes a fraction of one."""

# seconds between two attempts to take the lock
_PAUSE = 0.01


def to_disk(path: Path, content: bytes) -> None:
    """Write a new file and flush it to the disk. Raises OSError, also if the file exists."""
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def replace_file(path: Path, content: bytes) -> None:
    """Replace a file, keeping its permissions. Raises OSError; the earlier file is then intact."""
    beside = _beside(path, content)
    try:
        if path.exists():
            beside.chmod(path.stat().st_mode & 0o777)
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def write_new(path: Path, content: bytes) -> None:
    """Write a new file, whole or not at all. Raises FileExistsError, OSError."""
    if os.path.lexists(path):
        raise FileExistsError(path)
    beside = _beside(path, content)
    try:
        # A hard link fails where the name is taken; a rename would overwrite a file that somebody
        # else wrote since the look above.
        try:
            os.link(beside, path)
        except FileExistsError:
            raise
        except OSError:  # a file system without hard links: the name was free a moment ago
            beside.rename(path)
    finally:
        beside.unlink(missing_ok=True)


def _beside(path: Path, content: bytes) -> Path:
    handle, name = tempfile.mkstemp(prefix=f".{path.name[:60]}.writing-", dir=path.parent)
    beside = Path(name)
    try:
        with open(handle, "wb") as file:  # noqa: PTH123 - an open handle, no path
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        # mkstemp makes files that only the owner can read. Give the new one the usual permissions;
        # the mask can be read only by setting it.
        mask = os.umask(0)
        os.umask(mask)
        beside.chmod(0o666 & ~mask)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return beside


@contextmanager
def locked(folder: Path, *, shared: bool = False, wait: float = WAIT) -> Iterator[None]:
    """Keep other runs out of a folder while the context lasts; with `shared` only those that write.

    Raises OutputError where another run holds the lock for longer than `wait` seconds.
    """
    handle = _hold(folder, shared, time.monotonic() + wait)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _hold(folder: Path, shared: bool, until: float) -> int | None:
    try:
        import fcntl
    except ImportError:
        return None
    while True:
        try:
            handle = os.open(folder, os.O_RDONLY)
        except OSError:
            return None  # what is wrong with the folder is told by whoever uses it
        try:
            # Non-blocking with a pause, since flock has no time limit of its own. The folder may
            # have been exchanged for another while its lock was waited for: then the lock is on the
            # old one, and the path is opened again.
            fcntl.flock(handle, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
            if _is(handle, folder):
                return handle
        except BlockingIOError:
            pass
        except OSError:  # a file system without locks
            os.close(handle)
            return None
        os.close(handle)
        if time.monotonic() > until:
            says = (
                "another run of corepath is writing here; nothing has been written, try again when "
                "it has ended"
            )
            raise OutputError(f"{folder}: {says}")
        time.sleep(_PAUSE)


def _is(handle: int, folder: Path) -> bool:
    with suppress(OSError):
        return os.path.samestat(os.fstat(handle), folder.stat())
    return False
