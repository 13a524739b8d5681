"""Reading files that somebody names: regular ones only, and never more of them than is asked for.

The size that the system states is not trusted: devices state 0 and never end, and a file may grow
while it is read. A pipe would keep a plain `open` waiting for ever, so files are opened without
waiting and looked at once they are open.
"""

from __future__ import annotations

import errno
import os
import stat
from io import BufferedReader
from pathlib import Path

__all__ = ["TooLarge", "open_regular", "read_regular", "shown_name", "size_text"]

_LONGEST = 64  # letters of a name in a message
_PIECE = 1 << 20
_FLAGS = (
    os.O_RDONLY
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_NOCTTY", 0)
    | getattr(os, "O_BINARY", 0)
)


class TooLarge(OSError):
    """A file that holds more than is read; `most` is the limit in bytes."""

    def __init__(self, path: Path, most: int) -> None:
        super().__init__(errno.EFBIG, f"larger than {size_text(most)}", str(path))
        self.most = most


def open_regular(path: Path) -> BufferedReader:
    """The file, open for reading bytes; links are followed.

    Raises OSError, whose `strerror` says what is wrong: missing, no permission, a folder, a pipe, a
    device, a socket. Raises ValueError for a path that no system takes.
    """
    handle = os.open(path, _FLAGS)
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
    """The bytes of the file. Raises TooLarge where they are more than `most`, and what
    `open_regular` raises."""
    pieces, held = [], 0
    with open_regular(path) as file:
        # a size within the limit is not believed, one beyond it is enough
        if os.fstat(file.fileno()).st_size > most:
            raise TooLarge(path, most)
        while piece := file.read(min(_PIECE, most + 1 - held)):
            pieces.append(piece)
            held += len(piece)
            if held > most:
                raise TooLarge(path, most)
    return b"".join(pieces)


def size_text(count: int) -> str:
    """A number of bytes as a limit is stated: `8 MiB`, `100 MB`."""
    if count % 2**20 == 0:
        return f"{count // 2**20} MiB"
    return f"{count // 10**6} MB" if count >= 10**6 else f"{count} bytes"


def shown_name(path: Path) -> str:
    """The file's name as messages show it, cut to a readable length."""
    return path.name if len(path.name) <= _LONGEST else path.name[: _LONGEST - 1] + "…"
