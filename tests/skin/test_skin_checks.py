"""The check `skin` on jobs: verdicts, places, advice that is applied and seen to pass, report and
maps."""

from __future__ import annotations

import copy
import re
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.lengths import Said
from corepath.planning.report.job_skin import SkinFound, find_skin, skin_files
from corepath.reported import reported
from corepath.skin.plate import bending_pressure
from corepath.skin.skin_advice import Option, changed
from corepath.skin.terms import PlacedFigure, cover_of, laminate_of, largest, pressure_cautions

pytestmark = pytest.mark.whole

SAMPLES = Path(__file__).parents[2] / "samples"
SVG = "{http://www.w3.org/2000/svg}"

BOARD: dict[str, Any] = {
    "title": "Trial",
    "board": {"thickness": 8.0, "edge_thickness": 4.5},
    "outline": {
        "stations": [[-150, 0], [-140, 40], [-80, 66], [0, 70], [80, 66], [140, 40], [150, 0]]
    },
    "deck": {"stations": [[-150, 7.0], [0, 8.0], [150, 7.0]], "edge_band": 10.0, "blend": 34.0},
    "blank": {"length": 340.0, "width": 170.0, "thickness": 10.6},
    "groove": {"inside": 6.0, "outside": 5.0, "floor": 1.2},
    "dowel": [
        {"at": [-160, 0], "diameter": 5.0, "depth_in_bed": 7.0, "stand": 3.0},
        {"at": [158, 0], "diameter": 5.0, "depth_in_bed": 7.0, "stand": 3.0},
    ],
    "skin": {"thickness": 0.6, "modulus": 20.0, "strain_limit": 0.004, "pressure": 0.8},
    "machine": {"travel": [700, 400, 80]},
    "cutter": [
        {"number": 1, "shape": "flat", "diameter": 4.0, "cutting_length": 20.0, "stick_out": 28.0}
    ],
}


def job(**sections: dict[str, Any]) -> Job:
    data = copy.deepcopy(BOARD)
    for name, keys in sections.items():
        data.setdefault(name, {}).update(keys)
    return Job.model_validate(data, context={"scale": 1.0})


def found(one: Job) -> SkinFound:
    skin = find_skin(one, build_board(one, SAMPLES), one.groove.outside, SAMPLES)
    assert skin is not None
    return skin


@pytest.fixture(scope="module")
def tight() -> SkinFound:
    return found(job())


def test_tight_blend_fails_with_its_place(tight: SkinFound) -> None:
    """A rise of 3.5 mm over 34 mm bends a skin to R 44 or so, 0.7 %: nobody must find that out in
    the bag."""
    bending, pressure, compression = tight.checks
    assert [check.id for check in tight.checks] == ["skin"] * 3
    assert bending.verdict == pressure.verdict == "fail"
    assert compression.verdict in ("ok", "caution")
    # 7.5132 is the largest second derivative of the smoothstep, at u = 0.2764
    radius = 34.0**2 / (7.5132 * 3.5)
    assert tight.study.bending.radius == pytest.approx(radius, rel=0.08)
    assert bending.value == pytest.approx((0.004 - 0.3 / tight.study.bending.radius) * 100)
    assert re.fullmatch(r"bend at X-?\d+ Y-?\d+", bending.where)


def test_more_pressure_than_a_bag_gives_is_a_caution() -> None:
    """Air at sea level presses with 1.013 bar (standard atmosphere): a job that counts on 5 in a
    bag leaves voids."""
    assert pressure_cautions(job()) == pressure_cautions(job(skin={"pressure": 0.95})) == ()
    (caution,) = pressure_cautions(job(skin={"pressure": 5.0}))
    assert "5 bar" in caution and "press" in caution
    assert "press" in Option({"skin.pressure": 2.4}, "ok", None, 8.0).words
    assert "press)" not in Option({"skin.pressure": 0.9}, "ok", None, 8.0).words


def test_each_advice_passes_when_applied(tight: SkinFound) -> None:
    """An advice that was not tried sends the builder round in circles."""
    options = tight.advice.options
    keys = [tuple(option.values) for option in options]
    assert ("deck.blend",) in keys and ("skin.thickness",) in keys
    for option in options:
        after = found(changed(job(), option.values))
        assert all(check.verdict != "fail" for check in after.checks), option
        worst = max((check.verdict for check in after.checks), key=["ok", "caution", "fail"].index)
        assert worst == option.verdict


def test_advice_is_no_more_than_is_needed(tight: SkinFound) -> None:
    """5 mm less of blend, or 0.05 mm more of skin, still fails."""
    values = {key: value for option in tight.advice.options for key, value in option.values.items()}
    for key, back in (("deck.blend", -5.0), ("skin.thickness", 0.05)):
        after = found(changed(job(), {key: values[key] + back}))
        assert any(check.verdict == "fail" for check in after.checks), key


def test_mend_says_the_values(tight: SkinFound) -> None:
    assert f"deck.blend = {tight.advice.options[0].values['deck.blend']:g}" in tight.checks[0].fix


def test_less_pressure_than_needed_alone() -> None:
    """Then more pressure is among what helps, and it helps."""
    one = job(deck={"blend": 50.0}, skin={"pressure": 0.05})
    before = found(one)
    assert before.checks[0].verdict != "fail" and before.checks[1].verdict == "fail"
    assert before.study.bridges > 0.0
    values = {
        key: value for option in before.advice.options for key, value in option.values.items()
    }
    after = found(changed(one, {"skin.pressure": values["skin.pressure"]}))
    assert after.checks[1].verdict != "fail"


def test_compression_only_cautions() -> None:
    """Whether a skin wrinkles hangs on what is not in the job, so it stops no plan."""
    checks = found(job(deck={"blend": 58.0}, skin={"compression_limit": 1e-6})).checks
    assert [check.verdict for check in checks][2] == "caution"


def test_pull_of_double_curvature_cautions() -> None:
    """Pressure that suffices for the plate and not for its stresses is no clean pass."""
    one = job(deck={"blend": 58.0})
    free = found(one).study
    plate, both = free.pressure.most.value, free.most_all.value
    assert both > plate
    check = found(job(deck={"blend": 58.0}, skin={"pressure": (plate + both) / 2})).checks[1]
    assert check.verdict == "caution" and check.worst < 0 < check.value
    assert check.where == Said(f"press at {free.most_all.words}")


@pytest.mark.parametrize("name", ["board-1280", "rocker-1100", "pads-900", "mesh-640"])
def test_pressure_moves_less_than_a_twentieth_when_its_grid_is_halved(name: str) -> None:
    path = SAMPLES / f"{name}.toml"
    one = load_job(path)
    one = one.model_copy(update={"skin": job().skin})
    board = build_board(one, SAMPLES)
    skin, cover = laminate_of(one.skin), cover_of(one, board.outline, one.groove.outside)
    usual, finer = (bending_pressure(board.deck, cover, skin, parts).most.value for parts in (4, 8))
    assert usual == pytest.approx(finer, rel=0.05)


def test_sample_passes_with_honest_figures() -> None:
    """Board 1280: R 239 mm and 0.08 bar, as the guide says."""
    skin = found(load_job(SAMPLES / "board-1280.toml"))
    assert [check.verdict for check in skin.checks] == ["ok", "ok", "ok"]
    report = reported(skin)
    assert report["least_radius"] == pytest.approx(239, abs=2)
    assert report["pressure"]["need"]["value"] == pytest.approx(0.079, abs=0.003)
    assert report["membrane"]["compression"]["value"] == pytest.approx(0.00068, abs=0.00002)
    assert report["advice"] == []


def test_the_report_gives_the_skins_whole_length_and_width(tight: SkinFound) -> None:
    """Cloth is cut by these: half a width would be half a skin."""
    assert reported(tight)["covers"] == [340.0, 170.0]


def test_board_alone_is_covered() -> None:
    """A skin that ends at the groove is no stranger to the same board under a whole one."""
    whole, alone = (
        found(job(deck={"blend": 58.0})),
        found(job(deck={"blend": 58.0}, skin={"covers": "board"})),
    )
    assert alone.study.cover.edge is not None
    assert alone.study.cover.half_x == pytest.approx(155.0, abs=0.05)
    assert alone.study.bending.strain.value == pytest.approx(
        whole.study.bending.strain.value, rel=1e-2
    )
    assert alone.study.compression.value == pytest.approx(whole.study.compression.value, rel=0.5)


def test_no_skin_no_study() -> None:
    one = job().model_copy(update={"skin": None})
    board = build_board(one, SAMPLES)
    assert find_skin(one, board, one.groove.outside, SAMPLES) is None
    assert skin_files(one, board, None, "0") == {}


def test_maps(tight: SkinFound) -> None:
    """What bridges is ringed; the largest figures stand on the sheets; nothing is drawn twice for
    the same job."""
    board = build_board(job(), SAMPLES)
    files = skin_files(job(), board, tight, "3fa91c04")
    assert set(files) == {"deck-skin-pressure.svg", "deck-skin-membrane.svg"}
    assert files == skin_files(job(), board, tight, "3fa91c04")
    pressure = ET.fromstring(files["deck-skin-pressure.svg"])
    ids = {element.get("id") for element in pressure.iter()}
    assert {"plan-plate", "plan-all", "bridges-plate", "bridges-all"} <= ids
    words = [element.text or "" for element in pressure.iter(f"{SVG}text")]
    assert f"most {tight.study.pressure.most.value:.2f} bar" in words
    assert any("bridges here" in text for text in words)
    membrane = [
        element.text or ""
        for element in ET.fromstring(files["deck-skin-membrane.svg"]).iter(f"{SVG}text")
    ]
    assert f"most {tight.study.compression.value * 1000:.2f} ‰" in membrane


@pytest.mark.slow
def test_figures_in_the_guide_are_those_of_the_code() -> None:
    """The example of the guide fails, and its two advices are what the code finds."""
    text = (SAMPLES.parent / "docs" / "skin.md").read_text(encoding="utf-8")
    one = changed(load_job(SAMPLES / "board-1280.toml"), {"deck.blend": 50.0})
    assert "`deck.blend = 50`" in text
    skin = found(one)
    assert skin.checks[0].verdict == "fail" and not np.isinf(skin.study.bending.radius)
    assert f"    {skin.advice.fix}\n" in text


def test_the_first_of_the_largest_is_named_whatever_its_noise() -> None:
    """Rounded to nine figures all of them; only those next to the largest are looked at."""
    xs, ys = np.arange(40.0), np.arange(30.0)
    draws = np.random.default_rng(3)
    for scale in (1e-9, -1e-9, 1.0, -3.0, 0.0):
        values = scale * draws.integers(-5, 3, (40, 30)) * (1.0 + 1e-12 * draws.random((40, 30)))
        most = np.abs(values).max() or 1.0
        i, j = np.unravel_index(int(np.argmax(np.round(values / most, 9))), values.shape)
        assert largest(values, xs, ys) == PlacedFigure(values[i, j], xs[i], ys[j])
