"""Exchanging a plan's whole folder for a new one in a single step.

The new folder is made beside the old one. Files that stay are in both (hard links), so nothing of
the user's is copied or lost; then the two names change places (`renameat2` with RENAME_EXCHANGE,
Linux), and the old folder is taken away. A run that is killed leaves the old folder or the new one,
whole, and perhaps a hidden one beside it, which the next run takes up.
"""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import tempfile
from collections.abc import Callable, Collection, Iterator
from pathlib import Path

from corepath.errors import OutputError
from corepath.job.text.writing import locked, to_disk
from corepath.planning.folder.in_place import HALF_WRITTEN, STAGING, Change

__all__ = ["CannotExchange", "exchange", "take_up"]

MOST = 2000
"""More files than this are no plan's folder: they are left where they are."""

EARLIER = ".earlier-"
_EXCHANGE = 2
_HERE = -100
_CANNOT = frozenset({errno.EPERM, errno.EACCES, errno.EROFS, errno.EXDEV, errno.EMLINK,
    errno.ENOTSUP, errno.ENOSYS,
                     errno.EINVAL, errno.EBUSY})  # fmt: skip


class CannotExchange(Exception):
    """The folder cannot be exchanged here; nothing has been changed."""


def exchange(target: Path, change: Change) -> None:
    """Exchange the folder `target` for one with the change made.

    Raises CannotExchange, OutputError where it may not be written, OSError; it is then as it was.
    """
    if not os.access(target, os.W_OK | os.X_OK):
        raise OutputError(
            f"{target}: cannot write here: no permission; what was there before is as it was"
        )
    rename = _renameat2()
    if (
        rename is None
        or os.path.ismount(target)
        or target == Path.cwd()
        or target in Path.cwd().parents
    ):
        raise CannotExchange
    fresh = _fresh(target)
    exchanged = False
    try:
        _link_all(target, fresh, change)
        for name, content in change.files.items():
            (fresh / name).parent.mkdir(parents=True, exist_ok=True)
            to_disk(fresh / name, content)
        with locked(fresh):
            rename(target, fresh)
            exchanged = True
            earlier = fresh.rename(fresh.with_name(fresh.name.replace(STAGING, EARLIER)))
            names = {name for move in change.moves for name in move}
            _take_over(earlier, target, {*change.files, *change.gone, *names, HALF_WRITTEN})
    finally:
        if not exchanged:
            shutil.rmtree(fresh, ignore_errors=True)
    shutil.rmtree(earlier, ignore_errors=True)


def take_up(target: Path, ours: Callable[[Path], Collection[str]]) -> None:
    """Clear away what a run that was killed left of itself in the folder and beside it.

    What may be in an old folder alone, as a note saved in the moment of the exchange, is put into
    the new one first; `ours` names the files of a plan's folder that the plan itself wrote.
    """
    beside = f".{_glob(target.name)}"
    for path in (
        *sorted(target.glob(f"{STAGING}*")),
        *sorted(target.parent.glob(f"{beside}{STAGING}*")),
    ):
        _remove(path)
    for path in sorted(target.parent.glob(f"{beside}{EARLIER}*")):
        _take_over(path, target, {*ours(path), HALF_WRITTEN}, lone=True)
        _remove(path)


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)


def _glob(name: str) -> str:
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in name)


def _renameat2() -> Callable[[Path, Path], None] | None:
    """What exchanges two paths, where the system has it."""
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, TypeError, AttributeError):
        return None

    def rename(one: Path, other: Path) -> None:
        if call(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE) != 0:
            number = ctypes.get_errno()
            if number in _CANNOT:
                raise CannotExchange
            raise OSError(number, os.strerror(number), str(one))

    return rename


def _fresh(target: Path) -> Path:
    """An empty folder beside the old one, with its permissions and owner."""
    try:
        fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}{STAGING}", dir=target.parent))
    except OSError as error:
        if error.errno in _CANNOT or error.errno == errno.ENAMETOOLONG:
            raise CannotExchange from None
        raise
    held, own = target.stat(), fresh.stat()
    try:
        if (held.st_uid, held.st_gid) != (own.st_uid, own.st_gid):
            os.chown(fresh, held.st_uid, held.st_gid)
        shutil.copystat(target, fresh)
        os.utime(fresh)
    except OSError:
        shutil.rmtree(fresh, ignore_errors=True)
        raise CannotExchange from None
    return fresh


def _files(folder: Path) -> Iterator[str]:
    """All files, and links, in a folder, as names with `/`; those of it that lie in folders of it
    too."""
    for here, folders, files in os.walk(folder):
        place = Path(here)
        links = [name for name in folders if (place / name).is_symlink()]
        for name in sorted((*files, *links)):
            yield (place / name).relative_to(folder).as_posix()


def _folders(folder: Path) -> Iterator[str]:
    for here, folders, _ in os.walk(folder):
        for name in sorted(folders):
            if not (Path(here) / name).is_symlink():
                yield (Path(here) / name).relative_to(folder).as_posix()


def _link_all(target: Path, fresh: Path, change: Change) -> None:
    """What stays, in the new folder too: moved files under their new names, folders left empty not
    at all."""
    moved = dict(change.moves)
    left_out = {*change.files, *change.gone, HALF_WRITTEN}
    names = [name for name in _files(target) if not name.startswith(STAGING)]
    if len(names) > MOST:
        raise CannotExchange
    emptied = {name.rpartition("/")[0] for name in change.gone}
    try:
        for name in _folders(target):
            if name not in emptied and not name.startswith(STAGING):
                (fresh / name).mkdir(parents=True, exist_ok=True)
                shutil.copystat(target / name, fresh / name)
        for name in names:
            to = moved.get(name, name)
            if name in left_out or (to == name and name in moved.values()):
                continue
            (fresh / to).parent.mkdir(parents=True, exist_ok=True)
            os.link(target / name, fresh / to, follow_symlinks=False)
    except OSError as error:
        if error.errno in _CANNOT:
            raise CannotExchange from None
        raise


def _take_over(old: Path, new: Path, left_out: set[str], *, lone: bool = False) -> None:
    """Move into the new folder what was saved in the old one since its files were linked.

    With `lone`, only what no other folder holds and the new one has not.
    """
    for name in list(_files(old)):
        here, there = old / name, new / name
        if name in left_out:
            continue
        held, other = here.lstat(), there.lstat() if os.path.lexists(there) else None
        if other is not None and (lone or held.st_mtime_ns <= other.st_mtime_ns):
            continue
        if lone and held.st_nlink > 1:
            continue
        there.parent.mkdir(parents=True, exist_ok=True)
        here.replace(there)
