"""`njit` of numba with a cache on disk that cannot stop a run.

numba keeps what it compiled in files beside the code. Where one of them is damaged (a full disk, a
machine switched off), unpickling it raises almost any error, in every later run; where a single bit
has flipped it may raise nothing, and the loop gives other results. So each file ends with a digest
of all before it, which unpickling does not look at. A file without its digest counts as damaged,
and a damaged cache as empty: the loop is compiled again and its files are written again. Where the
cache cannot be written, loops are compiled in each run.

What a first run compiles is most of its time, so loops are written with that in mind. One that has
a single caller is `inline="always"`: nothing of its own is compiled and linked. Not beyond some 45
lines, since numba copies the names of the whole loop for each of its blocks, nor where several
places call it. Arrays are made with their type in second place (`np.empty(n, np.float64)`): each
spelling compiles once more.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core.caching import FunctionCache, IndexDataCacheFile
from numba.core.runtime.nrt import rtsys

__all__ = ["njit"]

_Function = TypeVar("_Function", bound=Callable[..., Any])


_DIGEST = 16
"""bytes"""


class _Digested:
    """Passes on what is written to a file and works out its digest."""

    def __init__(self, file: Any) -> None:
        self._file = file
        self._sum = hashlib.blake2b(digest_size=_DIGEST)

    def write(self, data: bytes) -> int:
        self._sum.update(data)
        return int(self._file.write(data))

    def close_up(self) -> None:
        """Writes the digest at the end of the file."""
        self._file.write(self._sum.digest())


class _DigestedFiles(IndexDataCacheFile):
    """Index and code of one loop on disk, each with its digest."""

    @contextmanager
    def _open_for_write(self, filepath: str) -> Iterator[Any]:
        with super()._open_for_write(filepath) as file:
            digested = _Digested(file)
            yield digested
            digested.close_up()

    def _load_index(self) -> Any:
        _whole(self._index_path)
        return super()._load_index()  # type: ignore[no-untyped-call]

    def _load_data(self, name: str) -> Any:
        _whole(self._data_path(name))  # type: ignore[no-untyped-call]
        return super()._load_data(name)  # type: ignore[no-untyped-call]


def _whole(path: str) -> None:
    """Raise ValueError where a file does not end with its digest; a missing file is left to the
    caller."""
    with suppress(FileNotFoundError):
        held = Path(path).read_bytes()
        if hashlib.blake2b(held[:-_DIGEST], digest_size=_DIGEST).digest() != held[-_DIGEST:]:
            raise ValueError(f"{path} is damaged")


class _RebuiltCache(FunctionCache):
    """A cache whose damaged files are deleted and written again."""

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]
        # numba's cache makes its file object itself and takes no other: so its class is changed
        # here, which has methods of its own but no fields
        held = self._cache_file
        held.__class__ = _DigestedFiles

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        try:
            # What a loop may be compiled with (numba's linear algebra and with it scipy's, its
            # lists, its random numbers: a sixth of a second) is not loaded for one that lies there
            # compiled: it needs the memory of its arrays alone. The compiler loads the rest itself.
            rtsys.initialize(target_context)
            with self._guard_against_spurious_io_errors():
                return self._load_overload(sig, target_context)  # type: ignore[no-untyped-call]
            return None
        except Exception:  # unpickling damaged bytes raises nearly anything
            self._forget()
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        try:
            super().save_overload(sig, data)  # type: ignore[no-untyped-call]
        except Exception:  # the index may be damaged though no earlier call has read it
            self._forget()
            with suppress(OSError):
                super().save_overload(sig, data)  # type: ignore[no-untyped-call]

    def _forget(self) -> None:
        with suppress(OSError):
            self.flush()  # type: ignore[no-untyped-call]


def njit(*, cache: bool = True, **options: Any) -> Callable[[_Function], _Function]:
    """Returns a decorator as `numba.njit` does; a damaged cache is rebuilt and never raises.

    `options` are numba's; `cache=False` keeps the loop out of the cache on disk.
    """

    def decorated(function: _Function) -> _Function:
        # Nothing calls them through C, and no loop has array expressions or literal indices that
        # numba would have to rewrite: without both they compile a tenth faster.
        made = numba.njit(**{"no_cfunc_wrapper": True, "no_rewrites": True, **options})(function)
        # not where NUMBA_DISABLE_JIT leaves the function as it is
        if cache and hasattr(made, "enable_caching"):
            made._cache = _RebuiltCache(made.py_func)
        return cast("_Function", made)

    return decorated
