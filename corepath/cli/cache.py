"""Choose the folder where compiled loops are kept from run to run.

numba keeps them beside the code, or in the user's cache folder where the code cannot be written to.
Where neither can be written, as in a read-only container, it refuses to work; then a temporary
folder is used for one run.
"""

from __future__ import annotations

import os
from collections.abc import MutableMapping
from pathlib import Path

__all__ = ["settle_cache"]

VARIABLE = "NUMBA_CACHE_DIR"
_PACKAGE = Path(__file__).resolve().parents[1]


def settle_cache(environment: MutableMapping[str, str], package: Path = _PACKAGE) -> None:
    """Set a folder for compiled loops in `environment`, unless one is set or the code itself can be
    written to."""
    if environment.get(VARIABLE) or os.access(package, os.W_OK):
        return
    parent = environment.get("XDG_CACHE_HOME") or str(
        Path(environment.get("HOME") or "~").expanduser() / ".cache"
    )
    folder = Path(parent) / "corepath"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        usable = os.access(folder, os.W_OK)
    except OSError:
        usable = False
    environment[VARIABLE] = str(folder) if usable else _for_one_run()


def _for_one_run() -> str:
    """Make a new private folder: a shared one could contain code that somebody else compiled."""
    import atexit
    import shutil
    import tempfile

    folder = tempfile.mkdtemp(prefix="corepath-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder
