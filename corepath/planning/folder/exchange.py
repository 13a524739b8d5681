"""Exchange a plan's whole folder for a new one in a single step.

The new folder is made beside the old one. Files that stay are in both (hard links), so no file of
the user's is copied or lost; then the two names change places (`renameat2` with RENAME_EXCHANGE,
Linux), and the old folder is removed. A run that is killed leaves the old folder or the new one,
whole, and perhaps a hidden one beside it, which the next run clears away (`take_up`). The name of
the hidden one holds the inode of the plan's folder as it was: once the two have changed places it
is the hidden folder's own, which tells the old folder from one that was never in use.
"""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import tempfile
from collections.abc import Callable, Collection, Iterator
from contextlib import suppress
from pathlib import Path

from corepath.errors import OutputError
from corepath.job.text.writing import locked, to_disk
from corepath.planning.folder.in_place import HALF_WRITTEN, STAGING, Change, remove_emptied

__all__ = ["CannotExchange", "exchange", "take_up"]

MOST = 2000
"""More files than this are no plan's folder: it is not exchanged, but written in place."""

_EXCHANGE = 2  # RENAME_EXCHANGE of <linux/fs.h>
_HERE = -100  # AT_FDCWD of <fcntl.h>: paths count from the current folder
# Errors that only say that this way does not work here (another file system, no hard links, an old
# kernel): then the files are written in place. Any other error, as of a full disk, is passed on.
_CANNOT = frozenset({errno.EPERM, errno.EACCES, errno.EROFS, errno.EXDEV, errno.EMLINK,
    errno.ENOTSUP, errno.ENOSYS, errno.EINVAL, errno.EBUSY, errno.ENAMETOOLONG})  # fmt: skip


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
    fresh, exchanged = None, False
    try:
        hidden = _staging(target, target.stat().st_ino).name
        fresh = Path(tempfile.mkdtemp(prefix=hidden, dir=target.parent))
        _link_all(target, fresh, {*change.files, *change.gone, HALF_WRITTEN})
        _make(change, fresh)
        # The lock lies on the folder, not on its name: from the exchange on, another run that comes
        # to `target` meets this one.
        with locked(fresh):
            rename(target, fresh)
            # From here on `fresh` names the old folder: it must not be removed as a failed attempt.
            exchanged = True
            names = {name for move in change.moves for name in move}
            _clear(fresh, target, {*change.files, *change.gone, *names, HALF_WRITTEN})
    except OSError as error:
        if error.errno in _CANNOT:
            raise CannotExchange from None
        raise
    finally:
        if fresh is not None and not exchanged:
            shutil.rmtree(fresh, ignore_errors=True)


def take_up(target: Path, ours: Callable[[Path], Collection[str]]) -> None:
    """Clear away what a killed run left in the folder and beside it.

    A file that only the old folder has, such as a note saved in the moment of the exchange, is
    moved into the new one first; `ours` names the files of a plan's folder that the plan wrote.
    """
    for path in sorted(target.glob(f"{STAGING}*")):
        _remove(path)
    for path in sorted(target.parent.glob(f".{_glob(target.name)}{STAGING}*")):
        if _was_in_use(path):
            _clear(path, target, {*ours(path), HALF_WRITTEN})
        else:
            _remove(path)


def _clear(old: Path, new: Path, left_out: set[str]) -> None:
    """Remove the old folder, once all that only it holds was moved into the new one."""
    # The new plan is in place: what fails now is no failure of the run. The next one goes on here.
    with suppress(OSError):
        _take_over(old, new, left_out)
        # What is left is of no use to anybody. Killed while it removes that, the next run must not
        # take the rest for files of the user's: the list of the plan's own may be gone by then.
        _remove(old.rename(_staging(new, 0, old.name[-8:])))


def _staging(target: Path, inode: int, ending: str = "") -> Path:
    return target.with_name(f".{target.name}{STAGING}{inode}-{ending}")


def _was_in_use(path: Path) -> bool:
    """Whether a hidden folder is one that was the plan's folder when the run began."""
    inode = path.name.rpartition(STAGING)[2].partition("-")[0]
    return path.is_dir() and not path.is_symlink() and inode == str(path.stat().st_ino)


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
            raise OSError(number, os.strerror(number), str(one))

    return rename


def _link_all(target: Path, fresh: Path, left_out: set[str]) -> None:
    """Link all files but those left out into the new folder; it and the folders in it get owner,
    permissions and times of those in the old one."""
    names = list(_files(target))
    if len(names) > MOST:
        raise CannotExchange
    for name in names:
        if name not in left_out:
            (fresh / name).parent.mkdir(parents=True, exist_ok=True)
            os.link(target / name, fresh / name, follow_symlinks=False)
    # From the innermost folder up: what is made in a folder later would change its times.
    for place, _, _ in os.walk(target, topdown=False):
        old, new = Path(place), fresh / Path(place).relative_to(target)
        if not os.access(old, os.W_OK | os.X_OK):
            raise CannotExchange  # nothing in it could be removed afterwards
        new.mkdir(parents=True, exist_ok=True)
        held, own = old.stat(), new.stat()
        if (held.st_uid, held.st_gid) != (own.st_uid, own.st_gid):
            os.chown(new, held.st_uid, held.st_gid)
        shutil.copystat(old, new)


def _make(change: Change, fresh: Path) -> None:
    for name, to in change.moves:
        (fresh / to).parent.mkdir(parents=True, exist_ok=True)
        # A rename does nothing where both names are links to one file.
        (fresh / to).unlink(missing_ok=True)
        (fresh / name).rename(fresh / to)
    for name, content in change.files.items():
        (fresh / name).parent.mkdir(parents=True, exist_ok=True)
        to_disk(fresh / name, content)
    remove_emptied(fresh, change)


def _files(folder: Path) -> Iterator[str]:
    """Yield all files and links in a folder and the folders below, as relative names with `/`."""
    # `os.walk` lists a link to a folder among the folders, and does not follow it: it is a file.
    for here, folders, files in os.walk(folder):
        place = Path(here)
        links = [name for name in folders if (place / name).is_symlink()]
        for name in sorted((*files, *links)):
            yield (place / name).relative_to(folder).as_posix()


def _take_over(old: Path, new: Path, left_out: set[str]) -> None:
    """Move into the new folder what was saved in the old one since its files were linked."""
    kept = {_inode(new / name) for name in _files(new)}
    # A list first: moving files away while walking could skip some.
    for name in list(_files(old)):
        here, there = old / name, new / name
        if name in left_out:
            continue
        held, other = here.lstat(), there.lstat() if os.path.lexists(there) else None
        # An editor that saves by renaming breaks the hard link: then the old folder alone has the
        # newer text. What the new folder holds, perhaps under another name, is not lost.
        if _inode(here) in kept or (other is not None and held.st_mtime_ns <= other.st_mtime_ns):
            continue
        there.parent.mkdir(parents=True, exist_ok=True)
        here.replace(there)


def _inode(path: Path) -> tuple[int, int]:
    held = path.lstat()
    return held.st_dev, held.st_ino
