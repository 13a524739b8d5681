"""Sources of a program's text: read line by line, as often as needed, without holding the whole.

Any bytes are accepted: what is not UTF-8 becomes replacement characters, which the reader reports.
Lines end with a line feed; a file that ends with one has an empty last line, like a text that is
split at line feeds.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Protocol

from corepath.job.text.regular import open_regular

__all__ = ["FileSource", "ProgramSource", "TextSource", "lines_of"]

_BLOCK = 1 << 20
_LONGEST = 4096  # bytes kept of a line without end: far more than the reader takes


class ProgramSource(Protocol):
    """A text that can be read again and again."""

    def lines(self) -> Iterator[str]:
        """Yield its lines from the first, without their line feeds."""


@dataclass(frozen=True, slots=True)
class TextSource:
    """A text that is held already."""

    text: str

    def lines(self) -> Iterator[str]:
        return iter(self.text.split("\n"))


@dataclass(frozen=True, slots=True)
class FileSource:
    """A file on disk, read in blocks. `lines` and `sha256` raise OSError where it cannot be
    read."""

    path: Path

    def lines(self) -> Iterator[str]:
        """Yield the lines from the file, which is never held as a whole. Raises OSError where it
        cannot be read."""
        with open_regular(self.path) as file:
            yield from lines_of(file)

    def sha256(self) -> str:
        """Return the digest of the file's bytes, hexadecimal."""
        with open_regular(self.path) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()


def lines_of(file: BinaryIO) -> Iterator[str]:
    """Yield the lines of a binary file; of a line longer than the reader takes only the beginning
    is sure to be whole."""
    rest = b""
    while block := file.read(_BLOCK):
        whole, ended, after = (rest + block).rpartition(b"\n")
        if ended:
            yield from whole.decode("utf-8", errors="replace").split("\n")
        # A file without line ends (not a program at all) must not be held as one line.
        rest = after if len(after) <= 2 * _LONGEST else after[:_LONGEST]
    yield rest.decode("utf-8", errors="replace")
