"""Where compiled loops are kept when the code lies in a place that cannot be written to, and how a
process keeps its memory."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from corepath.cli.cache import VARIABLE, settle_cache


def test_nothing_is_changed_where_the_code_can_be_written_to(tmp_path: Path) -> None:
    """Otherwise every run would compile again in another folder."""
    environment = {"HOME": str(tmp_path)}
    settle_cache(environment, tmp_path)
    assert environment == {"HOME": str(tmp_path)}


def test_a_named_folder_is_kept(tmp_path: Path) -> None:
    """The user's word holds."""
    environment = {VARIABLE: "mine"}
    settle_cache(environment, tmp_path / "gone")
    assert environment == {VARIABLE: "mine"}


def test_the_users_cache_serves_a_read_only_installation(tmp_path: Path) -> None:
    """A package installed by an administrator: compiled once for each user."""
    environment = {"HOME": str(tmp_path)}
    settle_cache(environment, tmp_path / "gone")
    assert environment[VARIABLE] == str(tmp_path / ".cache" / "corepath")
    assert Path(environment[VARIABLE]).is_dir()


def test_nothing_can_be_written_to(tmp_path: Path) -> None:
    """A read-only container: a folder for one run, never a shared one; without it no plan is made
    at all."""
    (tmp_path / "home").write_text("a file, no folder")
    environment = {"HOME": str(tmp_path / "home")}
    settle_cache(environment, tmp_path / "gone")
    folder = Path(environment[VARIABLE])
    assert folder.is_dir() and folder.stat().st_mode & 0o077 == 0


_SAID = """
import gc, resource, sys
from corepath.memory import settle_memory
if sys.argv[1] == "settled":
    settle_memory()
import numpy as np
np.ones(500_000)  # the C library learns from the first block that it frees
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(100):
    a, b = np.ones(500_000), np.ones(500_000)
    del a, b
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the C library has no mallopt")
def test_memory_that_was_freed_is_not_fetched_again() -> None:
    """Two fields of 4 MB, freed together and made again: pages of the first round serve all."""

    def faults(how: str) -> int:
        call = [sys.executable, "-c", _SAID, how]
        done = subprocess.run(call, capture_output=True, text=True, check=True, timeout=60)
        return int(done.stdout)

    assert faults("settled") * 10 < faults("as it is")


def test_garbage_is_not_looked_for_at_the_end() -> None:
    """What is left is frozen last, after all else that was registered."""
    code = (
        "import atexit, gc\nfrom corepath.memory import settle_memory\n"
        "atexit.register(lambda: print(gc.get_freeze_count() > 1_000))\nsettle_memory()\n"
        "atexit.register(lambda: print(gc.get_freeze_count()))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout.split() == ["0", "True"], done.stderr
