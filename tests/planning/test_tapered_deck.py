"""A coupon whose deck is finished with a tapered ball: planned, read back, and cut by the script
that shares no code with the package."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from corepath.board.deck.surface import DeckSurface
from corepath.errors import Fault
from corepath.job.load import load_job
from corepath.job.text.resolved import resolved_dict
from corepath.planning.prepare import prepare
from corepath.planning.proving.proof import prove
from corepath.planning.proving.rehearsal import rehearsals
from corepath.planning.report.full_report import full_report, results_of
from corepath.planning.report.geometry import geometry_dict
from corepath.work.cutting.cutters import Chosen
from corepath.work.cutting.deck_cutter import choose_deck, hollow_left

ROOT = Path(__file__).parents[2]

# Finer ridges than flat cutters leave in good time, a small one that is run slowly, and a ball of 6
# with 25 degrees a side: its cone begins 1.73 over the tip, and roughing leaves 2.08 in places.
EDITS = (
    ("[deck]\n", "[deck]\nscallop = 0.02\n"),
    ("chip_load = 0.07", "chip_load = 0.035"),
    ('shape = "ball"\ndiameter = 12.0',
     'shape = "taper"\ndiameter = 6.0\ntaper_angle = 25.0\nshank = 14.0'),
    ("chip_load = 0.14\nrpm = 18000", "chip_load = 0.12"),
)  # fmt: skip


def tapered_job(folder: Path) -> Path:
    text = (ROOT / "samples" / "coupon.toml").read_text()
    for old, new in EDITS:
        assert text.count(old) == 1
        text = text.replace(old, new)
    (folder / "tapered.toml").write_text(text)
    return folder / "tapered.toml"


@pytest.mark.whole
def test_a_deck_finished_with_a_tapered_ball_is_gouged_or_left_rough(tmp_path: Path) -> None:
    """Paths of another cutter than the read-back sweeps, or files that a stranger's sums refuse."""
    prepared = prepare(tapered_job(tmp_path))
    proof = prove(prepared)
    assert not proof.failed and proof.readback is not None and not len(proof.readback.findings)
    folder = tmp_path / "plan"
    (folder / "rehearsal").mkdir(parents=True)
    walks = rehearsals(prepared, proof.made)
    for one in (*proof.made, *walks):
        (folder / one.name).write_text(one.text)
    proof = replace(proof, walks=walks)
    report = full_report(proof, results_of(proof))
    (deck,) = (entry for entry in report["operations"] if entry["name"] == "deck")
    assert deck["cutter"] == {
        "number": 4, "shape": "taper", "diameter": 6.0, "corner_radius": 3.0,
        "taper_angle": 25.0, "largest_diameter": 14.0,
    }  # fmt: skip
    # a rim wider than the ball, by the depth of stock over the deck: between 6 and 14 mm
    rim = 1000.0 * deck["feeds"]["surface_speed"] / (math.pi * deck["rpm"])
    assert 6.0 <= rim < 8.0
    text = next(one.text for one in proof.made if one.name == deck["file"])
    assert "(Cutter: T4 taper, diameter 6 mm, 25 degrees a side, flutes 2" in text
    for name, content in (
        ("report", report),
        ("geometry", geometry_dict(prepared)),
        ("job.resolved", resolved_dict(prepared.resolved)),
    ):
        (folder / f"{name}.json").write_text(json.dumps(content))
    done = subprocess.run(
        [sys.executable, "-I", str(ROOT / "docs" / "verify.py"), str(folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0 and "0 breaches" in done.stdout, done.stdout + done.stderr
    assert f"{deck['file']}" in done.stdout


def ramped(slope: float) -> DeckSurface:
    """Ground that rises along X at `slope` between two level parts."""
    places = np.arange(-40.0, 41.0)
    height = 20.0 + slope * np.clip(places, -5.0, 5.0)
    return DeckSurface(places, places, np.tile(height[:, None], (1, 81)), 20.0)


def test_a_deck_as_steep_as_its_flank_is_finished_by_the_ball_s_paths(tmp_path: Path) -> None:
    """Its cone would gouge: a flank of 25 degrees rises by 2.145, so ground of 3 touches it."""
    job = load_job(tapered_job(tmp_path))
    lone = job.model_copy(update={"cutter": (job.cutter[-1],)})
    bounds = (-40.0, -40.0, 40.0, 40.0)
    found = choose_deck(lone, ramped(0.5), bounds, [lambda _: True], 1.0)
    assert isinstance(found, Chosen) and found.cutter.shape == "taper"
    fault = choose_deck(lone, ramped(3.0), bounds, [lambda _: True], 1.0)
    assert isinstance(fault, Fault) and fault.key == "deck"
    assert "72 degrees steep" in fault.message and "less than 18 degrees" in str(fault.allowed)


def test_a_small_ball_is_said_to_leave_what_it_reaches(tmp_path: Path) -> None:
    """Waves 30 long and 4 high bend by 2 (2 pi / 30)² = 0.088 at most, so that a ball of 3 fits
    them; the nodes alone, 1 mm apart, told otherwise. It does not fit a groove 3 wide and deep."""
    cutter = load_job(tapered_job(tmp_path)).cutter[-1].cutter
    places = np.arange(-15.0, 16.0)
    x, _ = np.meshgrid(places, places, indexing="ij")
    waves = DeckSurface(places, places, 20.0 - 2.0 * np.cos(math.pi * x / 15.0), 22.0)
    assert hollow_left(waves, cutter) == 0.0
    groove = np.where(np.abs(x) < 1.5, 0.0, 3.0)
    assert hollow_left(DeckSurface(places, places, groove, 3.0), cutter) > 0.5
