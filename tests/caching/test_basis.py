"""What kept results hang on besides their input: code, packages and processor."""

from __future__ import annotations

import platform
from pathlib import Path

import pytest

from corepath.caching import basis as module
from corepath.caching.basis import sources


def tree(folder: Path, **files: str) -> Path:
    (folder / "inner").mkdir(parents=True)
    for name, text in files.items():
        stem, _, ending = name.rpartition("_")
        (folder / "inner" / f"{stem}.{ending}").write_text(text)
    return folder


def test_results_of_other_code_are_used(tmp_path: Path) -> None:
    """A test after a change would still see the paths from before it."""
    own = sources(tree(tmp_path / "a", path_py="x = 1\n", wood_toml="[ash]\n"))
    assert own == sources(tree(tmp_path / "b", path_py="x = 1\n", wood_toml="[ash]\n"))
    others = (
        tree(tmp_path / "c", path_py="x = 2\n", wood_toml="[ash]\n"),
        tree(tmp_path / "d", way_py="x = 1\n", wood_toml="[ash]\n"),
        tree(tmp_path / "e", path_py="x = 1\n", wood_toml="[oak]\n"),
        tree(tmp_path / "f", path_py="x = 1\n", wood_toml="[ash]\n", more_py=""),
        tree(tmp_path / "g", path_py="x = 1\n"),
    )
    assert len({own, *(sources(other) for other in others)}) == 6
    # compiled code follows the sources, and a note is none
    assert own == sources(tree(tmp_path / "h", path_py="x = 1\n", wood_toml="[ash]\n", a_pyc="1"))


@pytest.mark.parametrize(
    ("place", "name"),
    [("", "_PACKAGES"), ("llvmlite.binding.get_host_cpu_name", ""), ("", "NUMBA_OPT")],
    ids=["packages", "processor", "switches"],
)
def test_results_of_another_machine_are_used(
    monkeypatch: pytest.MonkeyPatch, place: str, name: str
) -> None:
    """The last digits may differ there; a folder may be shared by two machines."""
    before = module.basis.__wrapped__()
    assert before == module.basis.__wrapped__()
    if place:
        monkeypatch.setattr(place, lambda: "another")
    elif name == "_PACKAGES":
        monkeypatch.setattr(module, "version", lambda name: "0.0.1")
    else:
        monkeypatch.setenv(name, "0")
    assert module.basis.__wrapped__() != before
    assert platform.machine() in module._processor()
