"""The folder of a plan: written beside and renamed, never half new and half old.

Every file is first written whole under a temporary name in the same folder; only when all are there are
they renamed into place. Files of an earlier plan that this one does not write again are taken away:
`.nc` files go to `withdrawn/`, drawings are removed.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from corepath.errors import OutputError

__all__ = ["Written", "write_folder"]

OURS = re.compile(r"^(0[1-9]|10)-[ABCD]-[a-z0-9-]+\.(nc|svg)$")
"""Names that a plan gives to its files; nothing else in the folder is touched."""


@dataclass(frozen=True, slots=True)
class Written:
    """Names written, and names of earlier `.nc` files moved to `withdrawn/`."""

    folder: Path
    written: tuple[str, ...]
    withdrawn: tuple[str, ...]


def write_folder(folder: Path, files: Mapping[str, str], *, withdraw: bool = True) -> Written:
    """Write `files` (name to text) into `folder`, made if missing.

    With `withdraw`, earlier files of a plan that are not written again are taken away. Raises OutputError
    when the folder or a file cannot be written; the earlier files are then still whole.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".writing-", dir=folder))
    except OSError as error:
        raise OutputError(f"{folder}: cannot write here: {error.strerror or error}") from error
    try:
        for name, text in files.items():
            (staging / name).write_bytes(text.encode("utf-8"))
        withdrawn = _take_away(folder, set(files)) if withdraw else ()
        for name in files:
            (staging / name).replace(folder / name)
    except OSError as error:
        raise OutputError(f"{folder}: cannot write: {error.strerror or error}") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    return Written(folder, tuple(files), withdrawn)


def _take_away(folder: Path, kept: set[str]) -> tuple[str, ...]:
    stale = sorted(path.name for path in folder.iterdir() if OURS.match(path.name) and path.name not in kept)
    programs = tuple(name for name in stale if name.endswith(".nc"))
    if programs:
        (folder / "withdrawn").mkdir(exist_ok=True)
    for name in stale:
        if name in programs:
            (folder / name).replace(folder / "withdrawn" / name)
        else:
            (folder / name).unlink()
    return programs
