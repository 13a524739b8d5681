"""A core of which everything is cut and recorded: there is nothing left to plan, and nothing
wrong."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.job.text.starter import starter_text

A = ("--cut", "dowels", "--cut", "plug-pockets", "--cut", "groove")


def told(command: str, *words: str) -> str:
    result = CliRunner().invoke(app, [command, "core.toml", *words])
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("core.toml").write_text(starter_text("Core"))


@pytest.mark.whole
def test_a_recorded_deck_is_cut_in_the_virtual_blank_too(job: None) -> None:
    """It stayed as high as the skim had left it, so that the plan after the last step said that the
    bore of the insert is closed, and to fix the job; and the deck was to be roughed once more."""
    told("record", *A, "--stop-at", "8.9", "--cut", "inserts", "--cut", "deck")
    text = told("plan")
    assert "Wrote 0 G-code files" in text
    assert "fix the job" not in text


@pytest.mark.whole
def test_a_blank_whose_thickness_is_recorded_counts_as_measured(job: None) -> None:
    """`check` said that it was not, below cautions about the very places."""
    assert "The blank was not measured." in told("check")
    told("record", "--thickness", "0", "-36", "10.6")
    assert "The blank was not measured" not in told("check")
