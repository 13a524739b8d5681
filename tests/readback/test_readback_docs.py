"""docs/readback.md says what the code holds: a page that drifts sends a shop wrong."""

from __future__ import annotations

import re
from pathlib import Path

from corepath.gcode.read.findings import KINDS
from corepath.readback.finding_fixes import FINDING_FIXES
from corepath.readback.motion.drilled import AT_ONCE
from corepath.readback.motion.working import MORE
from corepath.readback.simulation_setup import Allowed

PAGE = (Path(__file__).parents[2] / "docs" / "readback.md").read_text()


def test_every_kind_of_finding_is_in_the_table():
    """A word on the screen that no page explains."""
    rows = re.findall(r"^\| `([a-z-]+)` \| (.*) \| (.*) \|$", PAGE, re.MULTILINE)
    assert {kind: says for kind, says, _ in rows} == KINDS
    assert {kind: fix for kind, _, fix in rows} == FINDING_FIXES


def test_the_figures_are_those_of_the_code():
    """A looser tolerance than the page promises."""
    allowed = Allowed()
    rows = dict(re.findall(r"^\| ([a-z][a-z ,]+) \| .* \| (.*) \|$", PAGE, re.MULTILINE))
    assert float(rows["walls of pockets"]) == allowed.walls
    assert rows["what is swept"].startswith(f"{allowed.walls:g} at the walls")
    assert float(rows["diameters of seats and bores"]) == allowed.holes
    assert float(rows["floors, planes"]) == allowed.heights
    assert f"may be {MORE:g}° more" in PAGE
    assert AT_ONCE == 3.0 and "three diameters" in PAGE
