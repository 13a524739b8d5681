"""The guide keeps up with the code: check ids, keys of the machine, figures worked out for the
sample."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.job.model import MachineSection
from corepath.stackup import build_stackup, depth_checks, place_checks
from corepath.stackup.advice.remedies import advise
from corepath.stackup.checks.registration import registered

ROOT = Path(__file__).parents[2]
LATER = {
    "beyond", "chip-load", "collet", "deflection", "held", "obstacles", "power", "reach",
    "rim-speed", "screws", "skin",
    "spoil-board", "travel", "uncut", "web",
}  # fmt: skip


@pytest.fixture(scope="module")
def sample() -> tuple[object, dict[str, object]]:
    path = ROOT / "samples" / "board-1280.toml"
    job = load_job(path)
    board = build_board(job, path.parent)
    stack = build_stackup(job, board)
    return stack, {check.id: check for check in (*depth_checks(stack), *place_checks(stack, board))}


def test_each_check_has_its_page(sample) -> None:  # type: ignore[no-untyped-def]
    """A check that fails names its page: it must be there, tell what to do, and be found from the
    list of all."""
    pages = {
        path.stem: path.read_text(encoding="utf-8")
        for path in (ROOT / "docs" / "checks").glob("*.md")
    }
    assert set(pages) == set(sample[1]) | LATER
    listed = re.findall(
        r"^\| \[([\w-]+)\]\(checks/\1\.md\)", (ROOT / "docs/checks.md").read_text("utf-8"), re.M
    )
    assert sorted(listed) == sorted(pages)
    for name, text in pages.items():
        assert text.startswith(f"# {name}\n") and "**Fix:**" in text, name


def test_links_in_the_guide_lead_somewhere() -> None:
    """A page that was moved leaves links behind that lead nowhere."""
    for page in [*(ROOT / "docs").rglob("*.md"), *ROOT.glob("*.md")]:
        for target in re.findall(r"\]\((?!https?:)([^)#\s]+)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), f"{page.relative_to(ROOT)}: {target}"


def test_keys_in_the_machine_guide_exist() -> None:
    text = (ROOT / "docs" / "machines.md").read_text(encoding="utf-8")
    named = set(re.findall(r"^`(\w+)`", text, re.M))
    assert {
        "arcs",
        "canned_cycles",
        "exact_path",
        "tool_change",
        "xy_zero",
        "z_zero",
        "flip_about",
    } <= named
    assert named - {"touch_at"} <= set(MachineSection.model_fields)


def test_the_worked_figures_are_those_of_the_sample(sample) -> None:  # type: ignore[no-untyped-def]
    stack, checks = sample
    text = (ROOT / "docs" / "arithmetic.md").read_text(encoding="utf-8")
    figures = {
        "window = D + gB": checks["window"].value,
        "lowest plane = max h + c": stack.skim.lowest_plane,
        "shows     12.4": checks["shows"].value,
        "clean-up  11.9": checks["clean-up"].value,
        "p = 0.7 + 0.248": stack.castings[0].pour.p_expected.nominal,
    }
    for start, value in figures.items():
        line = next(line for line in text.splitlines() if line.strip().startswith(start))
        assert any(
            float(f) == pytest.approx(value, abs=0.0051) for f in re.findall(r"\d+\.\d+", line)
        ), line
    for check, worst in (("window", "0.44"), ("shows", "0.14"), ("floor", "0.97")):
        assert f"{checks[check].worst:.2f}" == worst and worst in text
    assert (stack.skim.first_sight, stack.skim.likely, stack.skim.planned_stop) == (1, 2, 3)
    assert "the pass at 11.9" in text and f"{checks['floor'].rss:.3f}" in text


def test_the_worst_case_of_showing_is_worked_out_as_the_code_does(sample) -> None:  # type: ignore[no-untyped-def]
    """0.36 below nominal, in the two parts that the page gives, and the passes as it lists them."""
    stack, _ = sample
    text = arithmetic()
    groove, heights = stack.castings[0], stack.heights
    depth = groove.depth_at(heights, groove.shallowest_at)
    shows = groove.shows_at(heights, groove.shallowest_at) - heights.plane(0.0)
    down, by_pass = depth.nominal - depth.worst()[0], -heights.plane(0.0).worst()[0]
    assert (
        f"shows {down + by_pass:.2f} lower, at {shows.worst()[0]:.2f}: {down:.2f} for thickness"
        in text
    )
    assert f"and {by_pass:.2f} for touch, machine and bed of the pass" in text
    assert (
        ", ".join(f"{plane:.1f}" for plane in reversed(stack.skim.planes)) + " with a step of"
        in text
    )


def test_fill_seats_and_what_would_pass_are_worked_out_as_the_code_does(sample) -> None:  # type: ignore[no-untyped-def]
    stack, checks = sample
    text = arithmetic()
    for casting, name in ((stack.castings[0], "groove"), (stack.castings[2], "P1b")):
        room, p = casting.pour.p_limit, casting.pour.p_expected.nominal
        assert casting.casting.id == name
        assert f"{name} 11.4 − {casting.deck_highest:.2f}".replace("4.20", "4.2") in text
        assert f"− 0.5 = {room:.3g}, margin {room - p:.2f}" in text
    assert f"at least {checks['wood-over-seat'].value:.2f} here" in text
    assert f"− 0.3 − 8.0 = {checks['barrel'].value:.2f} below the deck" in text
    (low, high), board = (
        advise(stack, build_board(stack.job, ROOT / "samples")).floors,
        stack.job.board,
    )
    assert f"{stack.job.groove.floor} + 0.6 − {checks['floor'].worst:.2f} = {low:.2f}" in text
    assert f"here 11.9: {high:.2f}" in text
    assert (
        f"{stack.job.blank.thickness} + {low:.2f} − {high:.2f} = "
        f"{stack.job.blank.thickness + low - high:.2f}" in text
    )
    assert f"{board.thickness} + {high - low:.2f} = {board.thickness + high - low:.2f}" in text


def test_registration_is_worked_out_as_the_code_does(sample) -> None:  # type: ignore[no-untyped-def]
    """C of basswood by the Wood Handbook's table 13-5 (USDA FPL-GTR-190): tangential 0.0033 per
    %."""
    stack, _ = sample
    text = arithmetic()
    found = {
        thing.id: thing.left
        for thing in registered(stack, build_board(stack.job, ROOT / "samples"))
    }
    assert f"C = 0.0033: 1 % moves the edge, 210 from the dowel line, by {0.0033 * 210:.2f}" in text
    assert f"{found['groove'].worst()[0]:.1f} are left in the worst case" in text
    assert f"(16 − 6.6) / 2 = {found['P2'].nominal:.1f}, {found['P2'].worst()[0]:.2f}." in text


def arithmetic() -> str:
    """The page with one space between words."""
    return " ".join((ROOT / "docs" / "arithmetic.md").read_text(encoding="utf-8").split())
