"""Write the folder of a plan so that it is never half new and half old, however the run ends.

The changes are worked out first (`Change`). Then a whole new folder is made beside the old one, in
which the files that stay are the same files, and the two change places in one step
(`corepath.planning.folder.exchange`); where the system does not allow that, the files are written
beside and renamed one by one (`corepath.planning.folder.in_place`). Files of an earlier plan that
this one does not write again are moved away: `.nc` files and restarts of them to `withdrawn/` or,
once they have been cut, to `done/`, rehearsals to `rehearsal/withdrawn/`, touch files to
`touch/withdrawn/`. Drawings and bodies are
removed if the earlier plan lists them in its `report.json`; a file of the user's with a name like
theirs is not. Nothing else is touched.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from corepath.errors import OutputError
from corepath.job.text.regular import read_regular
from corepath.job.text.writing import locked
from corepath.lengths import MM
from corepath.planning.folder.exchange import CannotExchange, exchange, take_up
from corepath.planning.folder.in_place import Change, in_place
from corepath.planning.folder.limited import LARGEST_FILE

__all__ = ["Written", "ensure_writable", "write_folder"]

OURS = re.compile(
    r"^((0[1-9]|10)-[ABCD]-[a-z0-9-]+(\.from-\d+)?\.(nc|svg)|(map|deck)-[a-z-]+\.svg|preview\.html)$"
)
"""Names that a plan gives to its files, and restarts of them; nothing else in the folder is
touched."""

REHEARSAL = re.compile(r"^[ABCD]-rehearsal\.nc$")

TOUCH = re.compile(r"^[ABCD]-(z-[a-z-]+|edges|holes(-g55)?|thickness)\.nc$")

_APART = {"rehearsal": REHEARSAL, "touch": TOUCH}
"""Folders of files beside those of operations, with the names in them; stale ones are moved to
`withdrawn` in each."""

SOLID = re.compile(r"^after-[ABCD]-(wood|casting)\.stl$")

_FOLDERS = (
    "withdrawn", "done", "rehearsal", "rehearsal/withdrawn", "touch", "touch/withdrawn", "solid",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Written:
    """Names of the files written, and of earlier `.nc` files moved to `withdrawn/` or, where their
    operation has been cut, to `done/`.

    Of the `.nc` files written, `new` were not there before and `unchanged` have the same motions as
    before.
    """

    folder: Path
    written: tuple[str, ...]
    withdrawn: tuple[str, ...]
    done: tuple[str, ...] = ()
    new: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()

    @property
    def programs(self) -> tuple[str, ...]:
        """The operations' files among those written, in their order; rehearsals do not count."""
        return tuple(_programs(self.written))


def ensure_writable(folder: Path) -> None:
    """Raise OutputError where `folder` cannot be written or made, before minutes of planning
    instead of after.

    It makes an empty folder there, or in the nearest folder above that exists, and removes it
    again.
    """
    # Permissions alone do not tell: a read-only file system, a quota or an ACL may forbid it too.
    try:
        target = folder.resolve()
        place = next(path for path in (target, *target.parents) if os.path.lexists(path))
        trial = tempfile.mkdtemp(prefix=".corepath-trial-", dir=place)
        Path(trial).rmdir()
        _refuse_links(folder, target)
    except OutputError:
        raise
    except (OSError, ValueError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise OutputError(
            f"{folder}: cannot write here: {reason}; nothing has been planned"
        ) from error


def write_folder(
    folder: Path,
    files: Mapping[str, str | bytes],
    *,
    withdraw: bool = True,
    done: Collection[str] = (),
) -> Written:
    """Write `files` (name to text or bytes) into `folder`, made if missing.

    With `withdraw`, earlier files of a plan that are not written again are moved away; `done` names
    the operations (`groove`) that have been cut. Raises OutputError when the folder or a file
    cannot be written, or another run is writing there; the earlier files are then still whole.
    """
    made = False
    target = folder
    try:
        # Resolved once: all names below are then inside one folder, also where `folder` is a link.
        target = folder.resolve()
        made = not target.exists()
        target.mkdir(parents=True, exist_ok=True)
        with locked(target):
            take_up(target, _ours_in)
            return _write(
                folder, target, {name: _bytes(text) for name, text in files.items()}, withdraw, done
            )
    except OutputError:
        raise
    except (OSError, ValueError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise OutputError(
            f"{folder}: cannot write here: {reason}; what was there before is as it was"
        ) from error
    finally:
        if made:
            _remove_empty(target)


def _write(
    folder: Path, target: Path, files: dict[str, bytes], withdraw: bool, done: Collection[str]
) -> Written:
    programs = _programs(files)
    new = tuple(name for name in programs if not (target / name).exists())
    unchanged = tuple(
        name for name in programs if name not in new and _same_motions(target / name, files[name])
    )
    withdrawn, finished = _stale(target, files, done) if withdraw else ((), ())
    change = _change(target, files, withdrawn, finished, withdraw)
    _refuse_odd(folder, target, change)
    try:
        exchange(target, change)
    except CannotExchange:
        in_place(target, change)
    return Written(folder, tuple(files), withdrawn, finished, new, unchanged)


def _change(
    target: Path,
    files: dict[str, bytes],
    withdrawn: tuple[str, ...],
    finished: tuple[str, ...],
    withdraw: bool,
) -> Change:
    moves = [(name, f"withdrawn/{name}") for name in withdrawn]
    for name in finished:
        # Order matters: the earlier file in `done/` makes room first.
        moves += [*_kept_apart(target, name), (name, f"done/{name}")]
    gone: list[str] = []
    if withdraw:
        beside = [
            f"{place}/{name}"
            for place, form in _APART.items()
            for name in _names(target / place)
            if form.match(name)
        ]
        moves += [
            (name, name.replace("/", "/withdrawn/", 1)) for name in beside if name not in files
        ]
        gone = [name for name in _listed(target) if not name.endswith(".nc") and name not in files]
    return Change(files, tuple(moves), tuple(gone))


def _kept_apart(target: Path, name: str) -> list[tuple[str, str]]:
    """Return the move that keeps an earlier file of this name in `done/` under another name.

    It has been cut: it is the only record of what was done to the wood.
    """
    held, fresh = target / "done" / name, target / name
    if not held.is_file() or held.read_bytes() == fresh.read_bytes():
        return []
    stem, number = name.removesuffix(".nc"), 1
    while (target / "done" / f"{stem}.earlier-{number}.nc").exists():
        number += 1
    return [(f"done/{name}", f"done/{stem}.earlier-{number}.nc")]


def _refuse_links(folder: Path, target: Path) -> None:
    """Raise OutputError where one of our own folders is a link, which would lead out of this one,
    or a file."""
    for name in _FOLDERS:
        path = target / name
        if path.is_symlink() or (path.exists() and not path.is_dir()):
            kind = "a link" if path.is_symlink() else "no folder"
            raise OutputError(
                f"{folder}: cannot write: {name} in it is {kind}; move it away, "
                "nothing has been changed"
            )


def _refuse_odd(folder: Path, target: Path, change: Change) -> None:
    """Raise OutputError where a folder has the name of a file to be written: it is not ours."""
    _refuse_links(folder, target)
    for name in (*change.files, *(to for _, to in change.moves)):
        if (target / name).is_dir() and not (target / name).is_symlink():
            raise OutputError(f"{folder}: cannot write: {name} in it is a folder; move it away")


def _ours_in(folder: Path) -> frozenset[str]:
    """Return all files in a plan's folder that the plan itself put there."""
    here, away = _names(folder), _names(folder / "withdrawn")
    programs = [*here, *(f"withdrawn/{name}" for name in away)]
    return frozenset(
        (*_listed(folder), *(name for name in programs if name.endswith(".nc") and _is_ours(name)))
    )


def _is_ours(name: str) -> bool:
    """Whether a path in a plan's folder, with `/`, is that of a file which a plan writes or moves
    away."""
    place, _, last = name.rpartition("/")
    if not place:
        return bool(OURS.match(name)) or name in (
            "report.json",
            "geometry.json",
            "job.resolved.json",
            "overview.svg",
        )
    apart = _APART.get(place.removesuffix("/withdrawn"))
    if apart is not None:
        return bool(apart.match(last))
    return (
        bool(SOLID.match(last))
        if place == "solid"
        else place == "withdrawn" and bool(OURS.match(last))
    )


def _listed(target: Path) -> list[str]:
    """Return the files that the plan in this folder wrote, by its own list; empty without one.

    Someone may have changed the list, and files on it are deleted: only names that a plan gives are
    taken from it.
    """
    try:
        report = json.loads(read_regular(target / "report.json", LARGEST_FILE))
    except (OSError, ValueError, RecursionError):
        return []
    names = report.get("files") if isinstance(report, dict) else None
    given = names if isinstance(names, list) else []
    ours = {name for name in given if isinstance(name, str) and _is_ours(name)}
    return sorted(name for name in ours if (target / name).exists())


def _names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []


def _remove_empty(target: Path) -> None:
    try:
        target.rmdir()
    except OSError:
        return  # it holds what was written


def _operation(name: str) -> str:
    """Return the operation of a file: `05-B-skim-pass-2.nc` belongs to `skim`, `07-C-deck-rough.nc`
    to `deck-rough`."""
    # Whatever a name has after its operation: a pass, "all", the number of a second cutter, and the
    # line that a restart begins with.
    words = name.removesuffix(".nc").split("-", 2)[2]
    return re.sub(r"(-(pass-\d+|all|\d+))?(\.from-\d+)?$", "", words)


def _bytes(content: str | bytes) -> bytes:
    return content if isinstance(content, bytes) else MM.text(content).encode("utf-8")


def _same_motions(path: Path, content: bytes) -> bool:
    """Whether a file's text has the same motions as `content`: it may differ in comments only."""
    if not path.is_file() or path.stat().st_size > LARGEST_FILE:
        return False

    def motions(lines: str) -> list[str]:
        return [line for line in lines.splitlines() if not line.startswith("(")]

    return motions(path.read_text(encoding="utf-8", errors="replace")) == motions(
        content.decode("utf-8")
    )


def _stale(
    target: Path, files: Collection[str], done: Collection[str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the programs of an earlier plan that are not written again: those to withdraw, and
    those that have been cut."""
    stale = [
        name
        for name in _names(target)
        if OURS.match(name) and name.endswith(".nc") and name not in files
    ]
    finished = tuple(name for name in stale if _operation(name) in done)
    return tuple(name for name in stale if name not in finished), finished


def _programs(names: Iterable[str]) -> list[str]:
    return [name for name in names if name.endswith(".nc") and "/" not in name]
