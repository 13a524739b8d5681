"""Exchange a plan's whole folder for a new one in a single step.

The new folder is made beside the old one. Files that stay are in both (hard links), so no file of
the user's is copied or lost; then the two names change places (`renameat2` with RENAME_EXCHANGE,
Linux), and the old folder is removed. A run that is killed leaves the old folder or the new one,
whole, and perhaps a hidden one beside it, which the next run clears away (`take_up`).
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
"""More files than this are no plan's folder: it is not exchanged, but written in place."""

EARLIER = ".earlier-"
_EXCHANGE = 2  # RENAME_EXCHANGE of <linux/fs.h>
_HERE = -100  # AT_FDCWD of <fcntl.h>: paths count from the current folder
# Errors that only say that this way does not work here (another file system, no hard links, an old
# kernel): then the files are written in place. Any other error, as of a full disk, is passed on.
_CANNOT = frozenset({errno.EPERM, errno.EACCES, errno.EROFS, errno.EXDEV, errno.EMLINK,
    errno.ENOTSUP, errno.ENOSYS,
                     errno.EINVAL, errno.EBUSY})  # fmt: skip


class CannotExchange(Exception):
    """The folder cannot be exchanged here; nothing has been changed."""


def exchange(target: Path, change: Change) -> None:
    """Exchange the folder `target` (resolved) for one in which `change` is made.

    Raises CannotExchange, OutputError where it may not be written, OSError; the folder is then as
    it was.
    """
    # Renaming needs only the parent's permission: a folder that was made read-only on purpose would
    # be replaced all the same.
    if not os.access(target, os.W_OK | os.X_OK):
        raise OutputError(
            f"{target}: cannot write here: no permission; what was there before is as it was"
        )
    rename = _renameat2()
    # A mount point cannot be renamed, and whoever stands in the folder would stay in the old one.
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
        # The lock lies on the folder, not on its name: from the exchange on, another run that comes
        # to `target` meets this one.
        with locked(fresh):
            rename(target, fresh)
            # From here on `fresh` names the old folder: it must not be removed as a failed attempt.
            exchanged = True
            earlier = fresh.rename(fresh.with_name(fresh.name.replace(STAGING, EARLIER)))
            names = {name for move in change.moves for name in move}
            _take_over(earlier, target, {*change.files, *change.gone, *names, HALF_WRITTEN})
    finally:
        if not exchanged:
            shutil.rmtree(fresh, ignore_errors=True)
    shutil.rmtree(earlier, ignore_errors=True)


def take_up(target: Path, ours: Callable[[Path], Collection[str]]) -> None:
    """Clear away what a killed run left in the folder and beside it.

    A file that only the old folder has, such as a note saved in the moment of the exchange, is
    moved into the new one first; `ours` names the files of a plan's folder that the plan wrote.
    """
    # A folder named STAGING is taken for one that was never in use; one named EARLIER was the
    # plan's folder until a moment before.
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
    """Return a function that exchanges two paths in one step; None where the system has none."""
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
    """Make an empty folder beside the old one, with its permissions and owner."""
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
        # The permissions are wanted, but not the times of the old folder.
        os.utime(fresh)
    except OSError:
        shutil.rmtree(fresh, ignore_errors=True)
        raise CannotExchange from None
    return fresh


def _files(folder: Path) -> Iterator[str]:
    """Yield all files and links in a folder and the folders below, as relative names with `/`."""
    # `os.walk` lists a link to a folder among the folders, and does not follow it: it is a file.
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
    """Link all files that stay into the new folder, moved ones under their new names.

    A folder of which files go is made only where others stay in it.
    """
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
            # Also left out: a file whose name another one is moved to.
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

    With `lone`, only files of which no other folder holds a link and whose name is free in the new
    one.
    """
    # A list first: moving files away while walking could skip some.
    for name in list(_files(old)):
        here, there = old / name, new / name
        if name in left_out:
            continue
        held, other = here.lstat(), there.lstat() if os.path.lexists(there) else None
        # An editor that saves by renaming breaks the hard link: then the old folder alone has the
        # newer text. A file that is still linked has equal times and stays.
        if other is not None and (lone or held.st_mtime_ns <= other.st_mtime_ns):
            continue
        if lone and held.st_nlink > 1:
            continue
        there.parent.mkdir(parents=True, exist_ok=True)
        here.replace(there)
