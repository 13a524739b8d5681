"""Read a file whole, unless it is too large for that."""

from __future__ import annotations

from pathlib import Path

from corepath.errors import Fault, InputError
from corepath.job.text.regular import TooLarge, read_regular, size_text

__all__ = ["LARGEST_FILE", "read_limited"]

LARGEST_FILE = 512 * 2**20
"""bytes: a larger file is refused rather than read into memory."""


def read_limited(path: Path) -> bytes:
    """Return the file's bytes. Raises InputError where it is larger than `LARGEST_FILE` or cannot
    be read."""
    try:
        return read_regular(path, LARGEST_FILE)
    except TooLarge as error:
        raise InputError(
            [Fault("", f"larger than {size_text(error.most)}", file=str(path))]
        ) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError([Fault("", f"cannot be read: {reason}", file=str(path))]) from error
