"""The worked example of docs/pour.md is what the code gives for its sample."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from corepath.job.load import load_job
from corepath.planning.prepare import Prepared, prepare_job
from corepath.stackup.pour.cups import cup_plan
from corepath.stackup.pour.flush import flush_face
from corepath.stackup.pour.pour import CastingPour, level_limits, tilted, volume_of
from corepath.stackup.pour.top_up import judge_fill
from corepath.stackup.stop_table import stop_limits, stop_table

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    """The sample, poured to 0.3 below the raw top, as the page has it: so the groove spills."""
    job = load_job(ROOT / "samples" / "board-1280.toml")
    job = job.model_copy(update={"cast": job.cast.model_copy(update={"pour_short": 0.3})})
    return prepare_job(job, ROOT / "samples")


@pytest.fixture(scope="module")
def page() -> str:
    return " ".join((ROOT / "docs" / "pour.md").read_text(encoding="utf-8").split())


@pytest.fixture(scope="module")
def pours(prepared) -> dict[str, CastingPour]:
    stack = prepared.stackup
    return {
        one.casting.id: replace(
            one.pour,
            area=one.casting.area.area,
            half_span=one.casting.half_span,
            stops=stop_limits(stack, one),
        )
        for one in stack.castings
    }


@pytest.mark.whole
def test_volumes_and_masses(prepared, page, pours):
    """Footprint, volumes, cups and masses as the page says."""
    groove, plug, cast = pours["groove"], pours["P1a"], prepared.job.cast
    assert f"{groove.area:.0f} mm²: {groove.volume:.1f} cm³" in page
    assert f"{volume_of(groove.area, groove.depth):.1f} flush full" in page
    assert f"takes {plug.volume:.2f}, flush full {volume_of(plug.area, plug.depth):.2f}" in page
    plan = cup_plan(list(pours.values()), cast)
    whole = plan.each.shared(1 / len(plan.cups))
    assert f"{whole.a_g:.1f} g of A and {whole.b_g:.1f} g of B" in page
    assert len(plan.cups) == 4
    assert f"four cups of {plan.each.total_g:.1f} g" in page


def test_limits_for_each_stop(page, pours):
    """The row of each casting in the table of what each stop allows."""
    for name, row in (("groove", "groove"), ("P1a", "P1a, P1c"), ("P1b", "P1b, P1d"), ("P2", "P2")):
        cells = " | ".join(f"{stop.p_limit.nominal:.2f}" for stop in pours[name].stops)
        assert f"| {row} | {cells} |" in page
    last = pours["P1b"].stops[-1].p_limit
    assert last.nominal - last.worst()[0] == pytest.approx(0.36)


def test_level_and_spill(prepared, page, pours):
    """Level limits of the groove and of a plug, and what 1 mm/m spills."""
    cast = prepared.job.cast
    groove, plug = level_limits(pours["groove"], cast), level_limits(pours["P1b"], cast)
    assert f"is {groove.fill:.2f} mm/m to fill" in page
    assert f"is {groove.spill:.2f} to spill" in page
    assert f"is {plug.fill:.0f} mm/m to fill" in page
    assert f"is {plug.spill:.0f} to spill" in page
    tilt = tilted(pours["groove"], cast, 1.0)
    assert f"r = {tilt.rise:.3f}, so it would stand {tilt.over:.3f} above" in page
    assert f"runs over, {tilt.spilled:.1f} cm³" in page
    assert f"= {tilt.p_high:.3f} after a spill" in page


def test_face_flush(prepared, page):
    """The plane, what it costs, and the window that is left."""
    stack = prepared.stackup
    heights = stack.heights
    at = (0.0, 0.0)
    top = heights.thickness(at) + heights.gap("A", at)
    flush = flush_face(top, heights.floor(0.0, "flush"))
    assert f"= {flush.plane:.2f} **local**" in page
    assert (
        f"dip of {flush.costs(top).nominal:.2f}, at most {flush.costs(top).worst()[1]:.2f}" in page
    )
    depth = flush.depth(heights.floor(1.2, "groove"))
    assert f"= {depth.nominal:.2f}" in page
    deck = (
        heights.deck(stack.deck_highest, stack.skim.planned_plane)
        + prepared.job.deck.clean_up
        + heights.bed("B", ", deck")
        + heights.gap("B", at, ", deck")
        - heights.gap("C", at, ", deck")
    )
    under = heights.gap("B", at) + heights.bed("B")
    before, after = (found + under - deck for found in (top - heights.floor(1.2, "groove"), depth))
    assert f"falls from {before.nominal:.2f} to {after.nominal:.2f}" in page
    assert f"falls from {before.worst()[0]:.2f} to {after.worst()[0]:.2f}" in page


def test_table_of_stops(prepared, page):
    """The rows that the page shows."""
    table = stop_table(prepared.stackup)
    assert " | ".join(table.header()).strip(" |") in page
    lines = {line[0]: " | ".join(line) for line in table.lines()}
    for name in ("fill P1b", "clean-up"):
        assert f"| {lines[name]} |" in page
    assert f"| {lines['shows groove'].replace(' groove', '')} |" in page


def test_low_plug(prepared, page, pours):
    """What is missing of P1b, the earlier stop and the top-up."""
    job = prepared.job
    advice = judge_fill(pours["P1b"], 2.6, job.cast, level=job.tolerances.level)
    by_pass = {found.number: found.worst for found in advice.missing}
    assert f"{by_pass[4]:.2f} is missing" in page
    assert f"At 11.9 {by_pass[3]:.2f} is missing, at 12.4 nothing" in page
    assert by_pass[2] == 0.0
    assert advice.earlier is not None
    assert (advice.earlier.number, advice.earlier.shows) == (2, "likely")
    top_up = advice.top_up
    assert top_up is not None
    assert f"{top_up.raises:.2f} more, {top_up.volume:.2f} cm³" in page
    assert f"{top_up.mixed.a_g:.2f} g of A and {top_up.mixed.b_g:.2f} g of B" in page
    assert f"mix {top_up.weigh.a_g:.1f} g and {top_up.weigh.b_g:.1f} g" in page
    assert f"= {top_up.p_after:.2f}." in page
