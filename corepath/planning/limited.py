"""Reading a file whole, unless it is too large for that."""

from __future__ import annotations

from pathlib import Path

from corepath.errors import Fault, InputError

__all__ = ["LARGEST_FILE", "read_limited"]

LARGEST_FILE = 512 * 2**20
"""bytes: a larger file is refused rather than read into memory."""


def read_limited(path: Path) -> bytes:
    """The file's bytes. Raises InputError where it is larger than `LARGEST_FILE` or cannot be read."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError([Fault("", f"larger than {LARGEST_FILE // 2**20} MiB", file=str(path))])
        return path.read_bytes()
    except OSError as error:
        raise InputError([Fault("", f"cannot be read: {error.strerror or error}", file=str(path))]) from error
