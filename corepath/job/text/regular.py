"""Read files that a user names: regular files only, and never more bytes than a limit.

The size that the system states is not trusted: devices state 0 and never end, and a file may grow
while it is read. A pipe would block a plain `open` for ever, so files are opened without blocking
and checked once they are open.
"""

from __future__ import annotations

import errno
import os
import stat
from io import BufferedReader
from pathlib import Path

__all__ = ["TooLarge", "open_regular", "read_regular", "shown_name", "size_text"]

_LONGEST = 64  # letters of a name in a message
# bytes read at a time
_PIECE = 1 << 20
# Do not wait for the writer of a pipe, do not let a terminal become the controlling one, and on
# systems that know text files read bytes as they are. Not every system has each flag.
_FLAGS = (
    os.O_RDONLY
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_NOCTTY", 0)
    | getattr(os, "O_BINARY", 0)
)


class TooLarge(OSError):
    """Raised for a file that is larger than `most`, the limit in bytes."""

    def __init__(self, path: Path, most: int) -> None:
        super().__init__(errno.EFBIG, f"larger than {size_text(most)}", str(path))
        self.most = most


def open_regular(path: Path) -> BufferedReader:
    """Open a regular file for reading bytes; links are followed.

    Raises OSError, whose `strerror` says what is wrong: missing, no permission, a folder, a pipe, a
    device, a socket. Raises ValueError for a path that no system accepts.
    """
    handle = os.open(path, _FLAGS)
    # Asked of the open handle, not of the path: between a look at the path and the opening another
    # file may take its place.
    try:
        mode = os.fstat(handle).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, "is a folder, not a file", str(path))
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, "is a pipe or a device, not a file", str(path))
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def read_regular(path: Path, most: int) -> bytes:
    """Return the bytes of a file. Raises TooLarge for more than `most` bytes, and what
    `open_regular` raises."""
    pieces, held = [], 0
    with open_regular(path) as file:
        # A stated size beyond the limit is enough to refuse; one within it proves nothing.
        if os.fstat(file.fileno()).st_size > most:
            raise TooLarge(path, most)
        while piece := file.read(min(_PIECE, most + 1 - held)):
            pieces.append(piece)
            held += len(piece)
            if held > most:
                raise TooLarge(path, most)
    return b"".join(pieces)


def size_text(count: int) -> str:
    """Return a number of bytes in words, as in a limit: `8 MiB`, `100 MB`."""
    if count % 2**20 == 0:
        return f"{count // 2**20} MiB"
    return f"{count // 10**6} MB" if count >= 10**6 else f"{count} bytes"


def shown_name(path: Path) -> str:
    """Return the name of a file for messages, cut to a readable length."""
    return path.name if len(path.name) <= _LONGEST else path.name[: _LONGEST - 1] + "…"
