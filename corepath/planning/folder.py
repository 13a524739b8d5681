"""The folder of a plan: written beside and renamed, never half new and half old.

Every file is first written whole under a temporary name in the same folder; only when all are there are
they renamed into place. Files of an earlier plan that this one does not write again are taken away:
`.nc` files go to `withdrawn/`, rehearsals to `rehearsal/withdrawn/`, drawings and bodies are removed.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from corepath.errors import OutputError

__all__ = ["Written", "write_folder"]

OURS = re.compile(r"^((0[1-9]|10)-[ABCD]-[a-z0-9-]+(\.from-\d+)?\.(nc|svg)|(map|deck)-[a-z-]+\.svg)$")
"""Names that a plan gives to its files, and restarts of them; nothing else in the folder is touched."""

REHEARSAL = re.compile(r"^[ABCD]-rehearsal\.nc$")

SOLID = re.compile(r"^after-[ABCD]-(wood|casting)\.stl$")


@dataclass(frozen=True, slots=True)
class Written:
    """Names written, and names of earlier `.nc` files moved to `withdrawn/` or, their operation being cut, to `done/`.

    Of the `.nc` files written, `new` were not there before and `unchanged` have the same motions as before.
    """

    folder: Path
    written: tuple[str, ...]
    withdrawn: tuple[str, ...]
    done: tuple[str, ...] = ()
    new: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()


def write_folder(
    folder: Path, files: Mapping[str, str | bytes], *, withdraw: bool = True, done: Collection[str] = ()
) -> Written:
    """Write `files` (name to text or bytes) into `folder`, made if missing.

    With `withdraw`, earlier files of a plan that are not written again are taken away; `done` names the
    operations (`groove`) whose files were cut with. Raises OutputError
    when the folder or a file cannot be written; the earlier files are then still whole.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".writing-", dir=folder))
    except OSError as error:
        raise OutputError(f"{folder}: cannot write here: {error.strerror or error}") from error
    try:
        for name, text in files.items():
            (staging / name).parent.mkdir(exist_ok=True)
            (staging / name).write_bytes(_bytes(text))
        programs = [name for name in files if name.endswith(".nc") and "/" not in name]
        new = tuple(name for name in programs if not (folder / name).exists())
        unchanged = tuple(name for name in programs if name not in new and _same_motions(folder / name, files[name]))
        withdrawn, finished = _take_away(folder, set(files), done) if withdraw else ((), ())
        if withdraw:
            _rehearsals_away(folder, set(files))
            _solids_away(folder, set(files))
        for name in files:
            (folder / name).parent.mkdir(exist_ok=True)
            (staging / name).replace(folder / name)
    except OSError as error:
        raise OutputError(f"{folder}: cannot write: {error.strerror or error}") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    return Written(folder, tuple(files), withdrawn, finished, new, unchanged)


def _operation(name: str) -> str:
    """`05-B-skim-pass-2.nc` belongs to `skim`, `07-C-deck-rough.nc` to `deck-rough`."""
    words = name.removesuffix(".nc").split("-", 2)[2]
    return re.sub(r"(-(pass-\d+|all|\d+))?(\.from-\d+)?$", "", words)


def _bytes(content: str | bytes) -> bytes:
    return content if isinstance(content, bytes) else content.encode("utf-8")


def _same_motions(path: Path, content: str | bytes) -> bool:
    """Whether a file differs in comments only."""

    def motions(lines: str) -> list[str]:
        return [line for line in lines.splitlines() if not line.startswith("(")]

    return motions(path.read_text(encoding="utf-8", errors="replace")) == motions(_bytes(content).decode("utf-8"))


def _rehearsals_away(folder: Path, kept: set[str]) -> None:
    """Rehearsals of an earlier plan that are not written again lie in `withdrawn/` beside them from now on."""
    place = folder / "rehearsal"
    if not place.is_dir():
        return
    for path in sorted(place.iterdir()):
        if REHEARSAL.match(path.name) and f"rehearsal/{path.name}" not in kept:
            (place / "withdrawn").mkdir(exist_ok=True)
            path.replace(place / "withdrawn" / path.name)


def _solids_away(folder: Path, kept: set[str]) -> None:
    """A body of an earlier plan would be taken for what this one leaves."""
    for path in sorted((folder / "solid").glob("*.stl")):
        if SOLID.match(path.name) and f"solid/{path.name}" not in kept:
            path.unlink()
    if (folder / "solid").is_dir() and not any((folder / "solid").iterdir()):
        (folder / "solid").rmdir()


def _take_away(folder: Path, kept: set[str], done: Collection[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    stale = sorted(path.name for path in folder.iterdir() if OURS.match(path.name) and path.name not in kept)
    programs = tuple(name for name in stale if name.endswith(".nc"))
    finished = tuple(name for name in programs if _operation(name) in done)
    withdrawn = tuple(name for name in programs if name not in finished)
    for names, place in ((withdrawn, "withdrawn"), (finished, "done")):
        if names:
            (folder / place).mkdir(exist_ok=True)
        for name in names:
            (folder / name).replace(folder / place / name)
    for name in stale:
        if name not in programs:
            (folder / name).unlink()
    return withdrawn, finished
