"""Writing so that nothing is ever half there: whole files or none, and one process at a time in a
folder.

A file is written beside its place, brought to the disk and renamed; a reader sees the earlier file
or the new one. The lock is on the folder itself and ends with the process, however that ends. Where
the system knows no such lock, none is taken.
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
"""s: how long another process is waited for; writing a folder takes a fraction of one."""

_PAUSE = 0.01


def to_disk(path: Path, content: bytes) -> None:
    """Write a new file and see it on the disk. Raises OSError."""
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def replace_file(path: Path, content: bytes) -> None:
    """Write a file over an earlier one, whose permissions it keeps. Raises OSError; the earlier one
    is then whole."""
    beside = _beside(path, content)
    try:
        if path.exists():
            beside.chmod(path.stat().st_mode & 0o777)
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def write_new(path: Path, content: bytes) -> None:
    """Write a file that is not there yet, whole or not at all. Raises FileExistsError, OSError."""
    if os.path.lexists(path):
        raise FileExistsError(path)
    beside = _beside(path, content)
    try:
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
        mask = os.umask(0)
        os.umask(mask)
        beside.chmod(0o666 & ~mask)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return beside


@contextmanager
def locked(folder: Path, *, shared: bool = False, wait: float = WAIT) -> Iterator[None]:
    """Keep other runs out of a folder, or with `shared` those that write. Raises OutputError after
    `wait` s.

    A folder that is exchanged for another one while its lock is waited for is looked up again.
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
