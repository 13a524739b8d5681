"""The guide keeps up with the code: check ids, keys of the machine, figures worked out for the sample."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from corepath.board.build import build_board
from corepath.job.load import load_job
from corepath.job.model import MachineSection
from corepath.stackup import build_stackup, depth_checks, place_checks

ROOT = Path(__file__).parents[2]
LATER = {"reach", "travel"}


@pytest.fixture(scope="module")
def sample() -> tuple[object, dict[str, object]]:
    path = ROOT / "samples" / "board-1280.toml"
    job = load_job(path)
    board = build_board(job, path.parent)
    stack = build_stackup(job, board)
    return stack, {check.id: check for check in (*depth_checks(stack), *place_checks(stack, board))}


def test_each_check_has_its_section(sample) -> None:  # type: ignore[no-untyped-def]
    sections = re.findall(r"^## ([\w-]+)$", (ROOT / "docs" / "checks.md").read_text(encoding="utf-8"), re.M)
    assert len(sections) == len(set(sections))
    assert set(sections) == set(sample[1]) | LATER


def test_keys_in_the_machine_guide_exist() -> None:
    text = (ROOT / "docs" / "machines.md").read_text(encoding="utf-8")
    named = set(re.findall(r"^`(\w+)`", text, re.M))
    assert {"arcs", "canned_cycles", "exact_path", "tool_change", "xy_zero", "z_zero", "flip_about"} <= named
    assert named - {"touch_at"} <= set(MachineSection.model_fields)


def test_the_worked_figures_are_those_of_the_sample(sample) -> None:  # type: ignore[no-untyped-def]
    stack, checks = sample
    text = (ROOT / "docs" / "arithmetic.md").read_text(encoding="utf-8")
    figures = {
        "window = D + gB": checks["window"].value,
        "lowest plane = max h + c": stack.skim.lowest_plane,
        "shows     12.4": checks["shows"].value,
        "clean-up  11.9": checks["clean-up"].value,
        "p = 0.7 + 0.062": stack.castings[0].pour.p_expected.nominal,
    }
    for start, value in figures.items():
        line = next(line for line in text.splitlines() if line.strip().startswith(start))
        assert any(float(f) == pytest.approx(value, abs=0.0051) for f in re.findall(r"\d+\.\d+", line)), line
    for check, worst in (("window", "0.54"), ("shows", "0.14"), ("floor", "0.97")):
        assert f"{checks[check].worst:.2f}" == worst and worst in text
    assert (stack.skim.first_sight, stack.skim.likely, stack.skim.planned_stop) == (2, 3, 4)
    assert "pass 4" in text and f"{checks['floor'].rss:.3f}" in text
