"""Have memory that was freed stay with the process, and leave what it holds at the end to the
system.

A deck's arrays have some 4 MB each and live for a moment. The C library gives such blocks back to
the system when they are freed, and fetching the next ones costs a page fault for each 4 kB: a
twelfth of a whole `check` of a board of 1.3 m.
"""

from __future__ import annotations

import atexit
import ctypes
import gc
import sys

__all__ = ["settle_memory"]

_TRIM, _MMAP = -1, -3
"""Parameters of `mallopt`: M_TRIM_THRESHOLD and M_MMAP_THRESHOLD of malloc.h."""

_KEPT, _LARGEST = 64 * 2**20, 32 * 2**20
"""Bytes: so much that is free stays with the process; blocks up to `_LARGEST` come from there. With
both no command takes more memory at its peak than without."""


def settle_memory() -> None:
    """Set how this process gets memory, where its C library has `mallopt` (Linux), and how it ends.

    Call it before numpy is loaded: what is held already stays as it is.
    """
    # Python looks for garbage three times as it ends, among all objects of all modules: a twelfth
    # of a small `check`. Frozen, they are passed over; what closes files or ends processes does so
    # by itself before.
    atexit.register(gc.freeze)
    if not sys.platform.startswith("linux"):
        return
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(_MMAP, _LARGEST)
        mallopt(_TRIM, _KEPT)
