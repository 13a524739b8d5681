"""Completion after a tab: what is offered, and that a shell that has it installed gets it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from corepath.cli import completing
from corepath.job.text.starter import starter_text


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a job, its record, another program's file, jobs below, a plan."""
    monkeypatch.chdir(tmp_path)
    starter = starter_text("Core")
    (tmp_path / "samples").mkdir()
    for name in ("core.toml", "samples/coupon.toml"):
        (tmp_path / name).write_text(starter, encoding="utf-8")
    (tmp_path / "core.ascut.toml").write_text("schema = 1\n")
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    for name in ("core-plan", "core-plan/rehearsal", ".hidden"):
        (tmp_path / name).mkdir()
    for name in ("job.resolved.json", "03-A-groove.nc", "sheet.html"):
        (tmp_path / "core-plan" / name).write_text("x")
    monkeypatch.setenv("COMP_WORDS", "corepath record core.toml ")
    return tmp_path


def test_jobs_here_and_in_samples_are_offered(shop: Path) -> None:
    """Not the record, which has no outline, nor what other programs keep in TOML."""
    assert completing.jobs("") == ["core.toml", "samples/coupon.toml"]
    assert completing.jobs_and_samples("co") == ["core.toml", "coupon"]
    assert completing.jobs("sam") == ["samples/coupon.toml"] == completing.jobs("samples/c")
    assert completing.jobs("./c") == ["./core.toml"] and completing.jobs(f"{shop}/co") == [
        f"{shop}/core.toml"
    ]
    assert completing.jobs("nowhere/") == []


def test_folders_of_plans_and_their_files_are_offered(shop: Path) -> None:
    assert completing.plans("") == ["core-plan"]
    assert completing.plans("core-plan/") == ["core-plan/03-A-groove.nc"] == completing.programs("")


def test_names_of_the_job_are_offered(shop: Path) -> None:
    """Operations that this job has, its castings and cutters; of a job that cannot be read what all
    have."""
    assert completing.operations("") == [
        "dowels", "plug-pockets", "groove", "flush", "skim", "inserts", "deck-rough", "deck",
        "bolt-holes",
    ]  # fmt: skip
    assert completing.operations("deck") == ["deck-rough", "deck"]
    assert completing.castings("") == ["groove", "P1"] and completing.cutters("") == [
        "1",
        "2",
        "3",
        "4",
    ]
    assert completing.stages("in") == ["inserts"]
    (shop / "core.toml").write_text("[plug\n")
    assert (
        "trim" in completing.operations("")
        and completing.castings("") == ["groove"]
        and completing.cutters("") == []
    )


BASH = shutil.which("bash")


@pytest.mark.skipif(BASH is None, reason="no bash here: completion is not tried in a shell")
def test_completion_installs_and_completes_in_bash(shop: Path) -> None:
    """From `--install-completion` to the words that the shell offers, as a new user has it."""
    home, tools = shop / "home", shop / "tools"
    for folder in (home, tools):
        folder.mkdir()
    command = tools / "corepath"
    command.write_text(f"#!{sys.executable}\nfrom corepath.cli import main\nmain()\n")
    command.chmod(0o755)
    env = {
        **os.environ,
        "HOME": str(home),
        "PATH": f"{tools}:{os.environ['PATH']}",
        "SHELL": str(BASH),
    }
    env |= {"_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    env.pop("COMP_WORDS")

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(words, env=env, cwd=shop, capture_output=True, text=True, timeout=60)

    installed = run(str(command), "--install-completion", "bash")
    assert installed.returncode == 0, installed.stderr
    script = (
        "source ~/.bashrc; offer() { COMP_WORDS=(\"$@\" ''); COMP_CWORD=$#; _corepath_completion "
        "corepath; "
        'echo "${COMPREPLY[@]}"; }; offer corepath plan; offer corepath record core.toml --cut'
    )
    offered = run(str(BASH), "--norc", "-c", script).stdout.splitlines()
    assert offered[0] == "core.toml samples/coupon.toml"
    assert offered[1].startswith("dowels plug-pockets groove")
