"""Where compiled loops are kept when the code lies in a place that cannot be written to."""

from __future__ import annotations

from pathlib import Path

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
