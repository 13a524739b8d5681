"""What every kept result depends on besides its own input: the code that made it and the machine
that the code ran on."""

from __future__ import annotations

import os
import platform
import sys
from functools import cache
from importlib.metadata import version
from pathlib import Path

from corepath.caching.canonical import key_of

__all__ = ["basis", "sources"]

_PACKAGE = Path(__file__).resolve().parents[1]

_PACKAGES = ("contourpy", "llvmlite", "numba", "numpy", "scipy", "shapely")

_SWITCHES = ("NUMBA_", "NPY_", "OPENBLAS_")
"""Beginnings of the variables that choose how these packages calculate."""
_HARMLESS = ("NUMBA_CACHE_DIR", "NUMBA_NUM_THREADS", "OPENBLAS_VERBOSE")
"""Those of them that change no figure."""


@cache
def basis() -> str:
    """Return the digest of the package's source files, the versions of what they calculate with,
    and the kind of processor."""
    return key_of(sources(_PACKAGE), _versions(), _processor(), _switches(os.environ))


def sources(package: Path) -> str:
    """Return the digest of all code and data files (`.py`, `.toml`) in a package's folder, each
    with its name."""
    files = sorted(
        path
        for folder, _, names in os.walk(package)
        for path in (Path(folder) / name for name in names)
        if path.suffix in (".py", ".toml")
    )
    return key_of([(path.relative_to(package).as_posix(), path.read_bytes()) for path in files])


def _versions() -> tuple[object, ...]:
    import shapely

    packages = tuple((name, version(name)) for name in _PACKAGES)
    return sys.version, shapely.geos_version_string, packages


def _processor() -> tuple[object, ...]:
    """Return the kind of processor: the compiled loops of numba and those of numpy differ with what
    it can do."""
    from llvmlite.binding import get_host_cpu_features, get_host_cpu_name

    features = get_host_cpu_features().flatten()
    return sys.platform, platform.machine(), sys.byteorder, get_host_cpu_name(), features


def _switches(environment: os._Environ[str]) -> list[tuple[str, str]]:
    return sorted(
        (name, value)
        for name, value in environment.items()
        if name.startswith(_SWITCHES) and name not in _HARMLESS
    )
