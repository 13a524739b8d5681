"""`njit` of numba with a cache on disk that cannot stop a run.

numba keeps what it compiled in files beside the code. Where one of them is damaged (a full disk, a machine switched
off), reading it raises whatever unpickling meets, in every later run. Here such a cache counts as empty: the loop is
compiled again and its files are written anew. A cache that cannot be written is done without.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Any, TypeVar, cast

import numba
from numba.core.caching import FunctionCache

__all__ = ["njit"]

_Function = TypeVar("_Function", bound=Callable[..., Any])


class _RebuiltCache(FunctionCache):
    """A cache whose damaged files are taken away and made again."""

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        try:
            return super().load_overload(sig, target_context)  # type: ignore[no-untyped-call]
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
    """As `numba.njit`, but for what a damaged cache does."""

    def decorated(function: _Function) -> _Function:
        made = numba.njit(**options)(function)
        if cache and hasattr(made, "enable_caching"):  # not where NUMBA_DISABLE_JIT leaves the function as it is
            made._cache = _RebuiltCache(made.py_func)  # type: ignore[no-untyped-call]
        return cast("_Function", made)

    return decorated
