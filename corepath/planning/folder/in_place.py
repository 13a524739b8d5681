"""Change a plan's folder file by file, where it cannot be exchanged as a whole.

Everything is first written whole into a staging folder inside; then files are renamed, and every
rename is undone when one fails. A run that is killed in these few milliseconds leaves
`HALF-WRITTEN.txt`, made before the first rename and removed after the last: while it is there, the
folder is not read back and no file of it is restarted.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from corepath.errors import Fault, InputError
from corepath.job.text.writing import to_disk

__all__ = ["HALF_WRITTEN", "Change", "in_place", "refuse_half_written", "remove_emptied"]

HALF_WRITTEN = "HALF-WRITTEN.txt"
STAGING = ".writing-"

_SAYS = b"""corepath was broken off while it wrote this folder: its files are of two plans.
Cut none of them. Run `corepath plan` again; it puts the folder right and takes this note away.
"""


@dataclass(frozen=True, slots=True)
class Change:
    """The changes to a folder: `files` (name to bytes) to write, `moves` (from, to) to make in this
    order, `gone` to remove.

    Names are relative to the folder, with `/`.
    """

    files: Mapping[str, bytes]
    moves: tuple[tuple[str, str], ...] = ()
    gone: tuple[str, ...] = ()


def refuse_half_written(folder: Path) -> None:
    """Raise InputError for a folder in which a run was broken off between two renames."""
    if (folder / HALF_WRITTEN).exists():
        says = "a run was broken off while it wrote this folder: its files are of two plans"
        raise InputError(
            [
                Fault(
                    "",
                    says,
                    allowed="the folder after `corepath plan` was run again",
                    file=str(folder),
                )
            ]
        )


def in_place(target: Path, change: Change, *, note: bool = True) -> None:
    """Change the folder; after an error it is as it was. Raises OSError.

    `note`: the folder is a plan's, and says so while its files are of two plans.
    """
    # Inside the folder, so that it is on the same file system: there a rename is a single step.
    staging = Path(tempfile.mkdtemp(prefix=STAGING, dir=target))
    undo: list[tuple[Path, Path]] = []
    try:
        for name, content in change.files.items():
            (staging / "new" / name).parent.mkdir(parents=True, exist_ok=True)
            to_disk(staging / "new" / name, content)
        if note:
            # A killed run may have left the note, and `to_disk` writes new files only.
            (target / HALF_WRITTEN).unlink(missing_ok=True)
            to_disk(target / HALF_WRITTEN, _SAYS)
        try:
            _rename(target, staging, change, undo)
        except BaseException:  # an interrupt from the keyboard too
            for there, back in reversed(undo):
                there.replace(back)
            raise
        finally:
            if note:
                (target / HALF_WRITTEN).unlink(missing_ok=True)
        remove_emptied(target, change)
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def remove_emptied(folder: Path, change: Change) -> None:
    """Remove the folders inside `folder` that hold nothing since files of theirs are gone."""
    for name in {name.rpartition("/")[0] for name in change.gone} - {""}:
        # It fails for a folder that still holds something, which then stays.
        with suppress(OSError):
            (folder / name).rmdir()


def _rename(target: Path, staging: Path, change: Change, undo: list[tuple[Path, Path]]) -> None:
    # Nothing is deleted here: what goes, and what a new file replaces, is renamed into the staging
    # folder, from where `undo` can bring it back.
    steps = [(target / name, target / to) for name, to in change.moves]
    steps += [(staging / "new" / name, target / name) for name in change.files]
    for count, name in enumerate(change.gone):
        _step(target / name, staging / f"gone-{count}", undo)
    for count, (there, place) in enumerate(steps):
        place.parent.mkdir(parents=True, exist_ok=True)
        if place.is_symlink() or place.exists():
            _step(place, staging / f"earlier-{count}", undo)
        _step(there, place, undo)


def _step(there: Path, place: Path, undo: list[tuple[Path, Path]]) -> None:
    there.rename(place)
    undo.append((place, there))
