"""A damaged cache of compiled loops is made again, whichever of its files is damaged."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

CODE = """
import numpy as np
from corepath.motion.compiled import njit

@njit(cache=True)
def half(x: float) -> float:
    return 0.5 * x

assert half(3.0) == 1.5
print(sum(half.stats.cache_hits.values()))
"""


def _hits(folder: Path) -> int:
    """How many loops came out of the cache in a new process."""
    script = folder / "loop.py"
    if not script.exists():
        script.write_text(CODE)
    env = {**os.environ, "NUMBA_CACHE_DIR": str(folder / "cache")}
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, env=env, check=False
    )
    assert done.returncode == 0, done.stderr
    return int(done.stdout)


def _flipped(data: bytes) -> bytes:
    """With one bit of the middle byte turned."""
    middle = len(data) // 2
    return data[:middle] + bytes([data[middle] ^ 0x10]) + data[middle + 1 :]


DAMAGES = {
    "emptied": lambda data: b"",
    "cut short": lambda data: data[:40],
    "one bit flipped": _flipped,
}


@pytest.mark.whole
def test_a_damaged_cache_is_made_again(tmp_path: Path) -> None:
    """Every command ended with an error of unpickling until somebody found and deleted the file; of
    a flipped bit nobody knew, and a loop of changed machine code worked out other paths, or ended
    the process."""
    assert _hits(tmp_path) == 0
    for ending in ("nbc", "nbi"):
        for what, damage in DAMAGES.items():
            (held,) = (tmp_path / "cache").rglob(f"*.{ending}")
            held.write_bytes(damage(held.read_bytes()))
            assert _hits(tmp_path) == 0, (ending, what)
    assert _hits(tmp_path) == 1
