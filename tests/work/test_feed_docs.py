"""The figures of docs/feeds.md are those of the code and of its sample: a page that drifts sends a
shop wrong."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from corepath.job.model import CutterSection, LimitsSection
from corepath.job.tables.cutting_table import chip_from_table, cutting_energy, speed_from_table
from corepath.motion.feeds.chips import LARGEST_CHIP_SHARE, LEAST_CHIP
from corepath.motion.feeds.deflection import CORE_SHARE, MODULUS
from corepath.motion.feeds.power import SIDE_SHARE
from corepath.motion.feeds.speeds import LARGEST_RAISE, RAMP_SHARE
from corepath.planning.prepare import Prepared, prepare
from corepath.work import feed_report
from corepath.work.cutting.deck_cutter import deck_offers

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(ROOT / "samples" / "board-1280.toml")


@pytest.fixture(scope="module")
def page() -> str:
    return " ".join((ROOT / "docs" / "feeds.md").read_text(encoding="utf-8").split())


@pytest.fixture(scope="module")
def reports(prepared: Prepared) -> dict[str, dict[str, Any]]:
    found = {work.name: feed_report(prepared.job, work) for work in prepared.works}
    deck = next(work for work in prepared.works if work.name == "deck")
    offers = deck_offers(
        prepared.job, prepared.board.deck, prepared.board.blank.bounds, deck.deck.deepest
    )
    ball = next(offer.chosen for offer in offers if offer.chosen.cutter.shape == "ball")
    found["deck"] = feed_report(
        prepared.job, replace(deck, cutter=ball.cutter, cutting=ball.cutting)
    )
    return found


def cut(report: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in report["cuts"] if one["cut"] == name)
    return found


def test_the_table_of_chip_loads(page: str) -> None:
    low = " | ".join(f"{chip_from_table(d, 450.0).value:.2f}" for d in (3.0, 6.0, 8.0, 12.0))
    assert f"| low | {low} |" in page
    assert chip_from_table(6.0, 600.0).value == pytest.approx(0.75 * 0.10)
    assert chip_from_table(6.0, 700.0).value == pytest.approx(0.5 * 0.10)
    assert chip_from_table(6.0, 450.0, resin=True).value == pytest.approx(0.33 * 0.10)
    wide = (100.0, 1e6)
    for material, least, most in (("carbide", 200.0, 900.0), ("high-speed steel", 100.0, 600.0)):
        assert speed_from_table(1.0, material, wide).value == pytest.approx(
            1000 * least / math.pi, abs=100.0
        )
        assert speed_from_table(40.0, material, wide).value == pytest.approx(
            1000 * most / math.pi / 40.0, abs=100.0
        )
    assert speed_from_table(6.0, "carbide", wide).value == 18000.0


def test_defaults_and_limits_that_the_page_names(page: str) -> None:
    assert RAMP_SHARE == 0.5 and LARGEST_RAISE == 2.0 and SIDE_SHARE == 0.5 and CORE_SHARE == 0.8
    assert MODULUS == {"carbide": 600e3, "high-speed steel": 210e3}
    assert LEAST_CHIP == 0.02 and LARGEST_CHIP_SHARE == 0.1 and LimitsSection().deflection == 0.05
    assert CutterSection.model_fields["plunge_share"].default == 0.33
    assert "`limits.deflection` (0.05 mm)" in page and "under 0.02 mm" in page


@pytest.mark.whole
def test_speed_and_feed_of_the_groove(page: str, reports: dict[str, dict[str, Any]]) -> None:
    groove = reports["groove"]
    assert f"{groove['rpm']:.0f} turns: {groove['surface_speed']:.0f} m/min" in page
    assert (
        f"{groove['chip_load']:.2f} · {groove['teeth']} · {groove['rpm']:.0f} = "
        f"{groove['feed']:.0f} mm/min" in page
    )


def test_light_laps(page: str, prepared: Prepared, reports: dict[str, dict[str, Any]]) -> None:
    lap, groove, deck = cut(reports["groove"], "finishing lap"), reports["groove"], reports["deck"]
    assert (
        f"thin the chip to {lap['thinning']:.3f}. The full factor would be "
        f"{1 / lap['thinning']:.1f}" in page
    )
    assert (
        f"{2 * groove['feed']:.0f} mm/min, 0.9 of the machine's rapid is met first: "
        f"{groove['finish']:.0f} mm/min" in page
    )
    assert groove["finish"] == 0.9 * prepared.job.machine.rapid
    assert f"chip {lap['chip']:.3f} mm" in page
    first, lines = cut(deck, "first line"), cut(deck, "lines")
    says = (
        f"{first['ae']:.1f} mm; lines {lines['ae']:.2f} apart: {lines['thinning']:.3f} of the "
        "feed a tooth"
    )
    assert says in page
    assert f"plain feed, {deck['feed']:.0f}; the others at {deck['finish']:.0f}" in page
    assert f"to {cut(groove, 'beside it')['thinning']:.2f}: not worth" in page
    assert f"goes {60 * math.sqrt(500 * 0.35):.0f} mm/min" in page


def test_the_table_of_loads(page: str, reports: dict[str, dict[str, Any]]) -> None:
    cuts = [
        cut(reports["groove"], "full width"),
        cut(reports["groove"], "finishing lap"),
        cut(reports["deck"], "lines"),
    ]

    def row(values: list[str]) -> str:
        return "| " + " | ".join(values) + " |"

    assert row([f"{one['ae']:.1f} × {one['ap']:.1f}" for one in cuts]) in page
    assert row([f"{one['removal']:.1f}" for one in cuts]) in page
    assert row([f"{one['power'][0]:.1f} to {one['power'][1]:.1f}" for one in cuts]) in page
    assert row([f"{one['force'][0]:.1f}" for one in cuts]) in page
    assert row([f"{one['side_load'][0]:.1f}" for one in cuts]) in page
    assert row([f"{one['deflection'][0]:.4f}, {one['deflection'][1]:.4f}" for one in cuts]) in page


def test_energy_of_the_page(page: str, prepared: Prepared) -> None:
    assert cutting_energy(450.0).likely == 40.0
    assert prepared.job.blank.wood == "basswood"
    assert f"{cutting_energy(414.0).likely:.1f} for basswood of 414 kg/m³" in page
