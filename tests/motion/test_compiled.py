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
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, env=env, check=False)
    assert done.returncode == 0, done.stderr
    return int(done.stdout)


@pytest.mark.whole
@pytest.mark.parametrize("ending", ["nbc", "nbi"])
@pytest.mark.parametrize("left", [0, 40])
def test_a_damaged_cache_is_made_again(tmp_path: Path, ending: str, left: int) -> None:
    """Every command ended with an error of unpickling until somebody found and deleted the file."""
    assert _hits(tmp_path) == 0
    (held,) = (tmp_path / "cache").rglob(f"*.{ending}")
    held.write_bytes(held.read_bytes()[:left])
    assert _hits(tmp_path) == 0
    assert _hits(tmp_path) == 1


@pytest.mark.whole
def test_a_flipped_bit_in_the_cache_is_noticed(tmp_path: Path) -> None:
    """Unpickling took it; a loop of changed machine code then worked out other paths, or ended the process."""
    assert _hits(tmp_path) == 0
    (code,), (index,) = ((tmp_path / "cache").rglob(f"*.{ending}") for ending in ("nbc", "nbi"))
    for held in (code, index):
        data = bytearray(held.read_bytes())
        data[len(data) // 2] ^= 0x10
        held.write_bytes(data)
        assert _hits(tmp_path) == 0, held.name
    assert _hits(tmp_path) == 1
