"""What past boards tell of a shop: boards drawn from a shop whose errors are known, and found."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.planning.learning.learned import LearnedValue, learn
from corepath.planning.learning.spreads import SURE, Spread, _factor, about_lines, between, within

SHOP = Path(__file__).parents[2] / "samples" / "one-shop"

TOUCH, BED, GAUGE = 0.012, 0.010, 0.010
"""True sigmas, mm: what a set-up shares, what differs from place to place, what a gauge adds."""


def test_the_factor_of_few_figures_is_that_of_the_chi_square_distribution() -> None:
    """Against scipy's quantiles, within 1 % from three figures on."""
    for free in (3, 5, 10, 30, 100):
        exact = float(np.sqrt(free / chi2.ppf(1.0 - SURE, free)))
        assert _factor(free) == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize("spread", ["between", "within"])
def test_the_value_to_type_covers_the_truth_as_often_as_it_says(spread: str) -> None:
    """Of 400 drawn shops with eight boards of five figures each; the found one is right on
    average."""
    generator = np.random.default_rng(20261130)
    covered, found = 0, []
    truth = 3.0 * (TOUCH if spread == "between" else BED)
    for _ in range(400):
        boards = [
            generator.normal(generator.normal(0.0, TOUCH), np.hypot(BED, GAUGE), 5).tolist()
            for _ in range(8)
        ]
        made: Spread = between(boards) if spread == "between" else within(boards, 3.0 * GAUGE)
        covered += made.bound >= truth
        found.append(made.half**2)
    assert np.sqrt(np.mean(found)) == pytest.approx(truth, rel=0.05)
    assert 0.70 <= covered / 400 <= 0.90


def test_a_cutter_that_wears_is_no_scatter() -> None:
    """A line takes two figures away; what is left is the scatter about it."""
    worn = [-0.01 * k for k in range(6)]
    assert about_lines([worn]).half == pytest.approx(0.0, abs=1e-12)
    assert about_lines([[0.02, -0.02]]).half == pytest.approx(3 * 0.02)
    assert about_lines([]).known is False


def _entry(number: int, board: int, kind: str, stage: str, **keys: object) -> list[str]:
    return [
        "", "[[entry]]", f"n = {number}", f"date = 2026-03-{board + 1:02d}", f'stage = "{stage}"',
        f'kind = "{kind}"', *(f"{key} = {value}" for key, value in keys.items()),
    ]  # fmt: skip


def _record(board: int, draw: Callable[[float], float]) -> str:
    """The record of one board: blank 10.5 thick, floor of the groove at 1.2, stop at 9.4."""
    lines, number = ["schema = 1", 'units = "mm"'], 0

    def add(kind: str, stage: str, **keys: object) -> None:
        nonlocal number
        number += 1
        lines.extend(_entry(number, board, kind, stage, **keys))

    places = [(x, y) for x in (-105, 0, 105) for y in (-33, 33)]
    for x, y in places:
        add("thickness", "blank", at=[x, y], value=10.5)
        add("height", "blank", at=[x, y], value=10.5 + abs(draw(0.01)))
    add("coupon-diameter", "blank", cutter=2, value=round(5.98 - 0.004 * board, 4))
    touched = draw(TOUCH)
    for x, y in ((-95, 0), (0, 35), (95, 0), (0, -35)):
        depth = 10.5 - 1.2 + touched + draw(BED) + draw(GAUGE)
        add("groove-depth", "A", at=[x, y], value=round(depth, 4))
    add("stop", "B", plane=9.4)
    touched = draw(TOUCH)
    for x, y in places:
        thick = 9.4 + touched + draw(BED) + draw(GAUGE)
        add("thickness-after", "B", at=[x, y], value=round(thick, 4))
    return "\n".join(lines) + "\n"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A shop with twelve boards, one of them in a folder below, one without a record, and a job
    of another shop."""
    generator = np.random.default_rng(7)
    path = tmp_path / "shop.toml"
    shutil.copy(SHOP / "shop.toml", path)
    job = (SHOP / "hand-plane-230.toml").read_text(encoding="utf-8")
    below = tmp_path / "last-year"
    below.mkdir()
    for board in range(12):
        folder = below if board == 0 else tmp_path
        text = job.replace('"shop.toml"', '"../shop.toml"') if board == 0 else job
        (folder / f"plane-{board}.toml").write_text(text, encoding="utf-8")
        record = _record(board, lambda sigma: float(generator.normal(0.0, sigma)))
        (folder / f"plane-{board}.ascut.toml").write_text(record, encoding="utf-8")
    (tmp_path / "new.toml").write_text(job, encoding="utf-8")
    (tmp_path / "other.toml").write_text(
        job.replace('"shop.toml"', '"elsewhere.toml"'), encoding="utf-8"
    )
    return path


def _value(values: tuple[LearnedValue, ...], key: str) -> LearnedValue:
    return next(one for one in values if one.key == f"tolerances.{key}")


def test_what_a_shop_does_is_found_in_its_records(shop: Path) -> None:
    """Touch and bed as drawn, the thickness that is alike everywhere, the cutter that wears."""
    found = learn(shop)
    assert len(found.boards) == 12 and found.boards[0].name == "plane-0.toml"
    assert found.told == ("new.toml has no record yet",)
    touch, bed = _value(found.values, "touch"), _value(found.values, "bed")
    assert touch.spread.half == pytest.approx(3 * TOUCH, rel=0.3)
    assert bed.spread.half == pytest.approx(3 * BED, rel=0.3)
    assert touch.value is not None and touch.value >= touch.spread.half
    assert _value(found.values, "thickness").spread.half == 0.0
    assert _value(found.values, "machine").value is None
    worn = next(one for one in found.cutters if one.number == 2)
    assert worn.slope == pytest.approx(-0.004, abs=1e-6)
    assert worn.last == pytest.approx(5.98 - 0.044, abs=1e-6) and worn.count == 12
    assert _value(found.values, "cutter_diameter").spread.half == pytest.approx(0.0, abs=1e-6)


def test_it_tells_what_to_type_and_changes_nothing(shop: Path) -> None:
    before = {one: one.read_bytes() for one in shop.parent.rglob("*") if one.is_file()}
    told = CliRunner().invoke(app, ["shop", "--learned", str(shop)])
    assert told.exit_code == 0, told.output
    assert max(map(len, told.output.splitlines()[1:])) <= 80
    typed = told.output.partition("To type into the shop file")[2]
    assert "[tolerances]" in typed and "thickness = 0.03" in typed and "diameter = 5.936" in typed
    data = json.loads(CliRunner().invoke(app, ["shop", "--learned", str(shop), "--json"]).output)
    assert len(data["boards"]) == 12 and data["values"][0]["key"] == "tolerances.touch"
    assert data["clock"] is None
    assert {one: one.read_bytes() for one in shop.parent.rglob("*") if one.is_file()} == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["SHOP"], "is not told what to do"),
        (["--learned", "gone.toml"], "is not there"),
        (["--learned", "new.toml"], "belongs in the job"),
        (["--learned", "SHOP", "gone.toml"], "there is no such file"),
        (["--learned", "SHOP", "other.toml"], "names another shop file"),
        (["--learned", "SHOP", "broken.toml"], "broken.toml:"),
    ],
)
def test_bad_input_is_told(
    shop: Path, words: list[str], says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit code 2, and nothing is written."""
    monkeypatch.chdir(shop.parent)
    text = Path("new.toml").read_text(encoding="utf-8")
    Path("broken.toml").write_text(text.replace("thickness = ", "thicknes = ", 1))
    before = sorted(shop.parent.rglob("*"))
    told = CliRunner().invoke(app, ["shop", *(str(shop) if w == "SHOP" else w for w in words)])
    assert told.exit_code == 2 and says in told.output, told.output
    assert sorted(shop.parent.rglob("*")) == before


def test_a_board_with_faults_is_left_out_and_told(shop: Path) -> None:
    """One old job that is broken must not hide what the others tell."""
    (shop.parent / "plane-3.ascut.toml").write_text("schema = 1\nunits = 3\n", encoding="utf-8")
    found = learn(shop)
    assert len(found.boards) == 11
    assert any(line.startswith("plane-3.toml is left out") for line in found.told)
