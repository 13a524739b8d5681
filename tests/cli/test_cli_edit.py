"""`corepath edit` at a terminal: what is wrong is told as by the other commands."""

from __future__ import annotations

import socket
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from corepath.cli.app import app

runner = CliRunner()
COUPON = str(Path(__file__).parents[2] / "samples" / "coupon.toml")


def test_a_job_that_is_not_there_is_served(tmp_path: Path) -> None:
    shown = runner.invoke(app, ["edit", str(tmp_path / "b.toml"), "--no-browser"])
    assert shown.exit_code == 2 and "there is no such file" in shown.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_port_in_use_ends_in_a_traceback() -> None:
    pytest.importorskip("starlette", reason="the extra corepath[edit] is not installed")
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        shown = runner.invoke(app, ["edit", COUPON, "--no-browser", "--port", port])
    assert shown.exit_code == 2 and "cannot be listened on" in shown.stderr


def test_without_its_packages_the_command_does_not_say_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    monkeypatch.delitem(sys.modules, "corepath.editing.server", raising=False)
    shown = runner.invoke(app, ["edit", COUPON, "--no-browser"])
    assert shown.exit_code == 2 and "pip install 'corepath[edit]'" in shown.stderr
