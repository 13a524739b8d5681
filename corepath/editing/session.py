"""One sitting with one job file: its text, what was before it, and how a change gets to the disk.

The file is the one truth: a text is written whole or not at all, and only over the contents that
the change was made from.
"""

from __future__ import annotations

from pathlib import Path

from corepath.errors import CorepathError
from corepath.job.text.source import read_text
from corepath.job.text.writing import locked, replace_file
from corepath.planning.job_files.applying import keep_beside

__all__ = ["ChangedOutsideError", "Session"]


class ChangedOutsideError(CorepathError):
    """Somebody else has changed the file since it was read; nothing has been written."""


class Session:
    """Holds the text of a job file and its history; `revision` counts every text that it has had.

    `faults` say why the file cannot be read; `text` is then that of before. `first` is where the
    file is kept as it was at the first change, None before.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.first: Path | None = None
        self.revision = 0
        self.text, self.faults = read_text(path)
        self._before: list[str] = []
        self._after: list[str] = []

    @property
    def can_undo(self) -> bool:
        return bool(self._before)

    @property
    def can_redo(self) -> bool:
        return bool(self._after)

    def write(self, text: str) -> None:
        """Write another text. Raises ChangedOutsideError, OutputError, OSError; the file and this
        session are then as they were."""
        if text == self.text:
            return
        self._to_disk(text)
        self._before.append(self.text)
        self._after.clear()
        self._take(text)

    def undo(self) -> None:
        """Write the text before the last change. Raises as `write`."""
        self._swap(self._before, self._after)

    def redo(self) -> None:
        """Write the text that was undone last. Raises as `write`."""
        self._swap(self._after, self._before)

    def look(self) -> bool:
        """Take over what somebody else has written since; return whether there was anything."""
        text, self.faults = read_text(self.path)
        if self.faults or text == self.text:
            return False
        self._before.append(self.text)
        self._after.clear()
        self._take(text)
        return True

    def _swap(self, source: list[str], target: list[str]) -> None:
        if source:
            self._to_disk(source[-1])
            target.append(self.text)
            self._take(source.pop())

    def _take(self, text: str) -> None:
        self.text, self.faults = text, []
        self.revision += 1

    def _to_disk(self, text: str) -> None:
        file = self.path.resolve()  # the file itself, where the name is a link to it
        with locked(file.parent):
            held, faults = read_text(file)
            if faults or held != self.text:
                raise ChangedOutsideError(f"{self.path}: was changed by another program meanwhile")
            if self.first is None:
                kept = keep_beside(file, held.encode("utf-8"))
                self.first = self.path.with_name(kept.name)
            replace_file(file, text.encode("utf-8"))
