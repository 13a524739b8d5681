"""A flush in the stack-up: what it does to window, fill and clean-up, and what is planed."""

from pathlib import Path

import pytest

from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.planning.prepare import Prepared, prepare_job
from tests.given import load_text

pytestmark = pytest.mark.whole

SAMPLES = Path(__file__).parents[2] / "samples"


def flushed(kind: str, pour_short: float) -> Prepared:
    job = load_job(SAMPLES / "board-1280.toml")
    cast = job.cast.model_copy(update={"flush": kind, "pour_short": pour_short})
    return prepare_job(job.model_copy(update={"cast": cast}), SAMPLES)


def checks(prepared: Prepared) -> dict[str, float]:
    return {check.id: check.value for check in prepared.checks}


def test_a_face_flush_costs_window():
    """0.28 is planed off: the tolerance 0.10, the errors of the plane 0.13 and the allowance
    0.05."""
    before, after = flushed("none", 0.3), flushed("face", -0.3)
    assert checks(before)["window"] - checks(after)["window"] == pytest.approx(0.28)
    assert after.stackup.heights.face_flush is not None
    assert after.stackup.heights.face_flush.plane == pytest.approx(13.32)


def test_a_face_flush_takes_thickness_out_of_the_window():
    """Floor and face are cut over one bed: neither thickness nor gap nor bed counts any more."""
    stack = flushed("face", -0.3).stackup
    depth = stack.castings[0].depth_at(stack.heights, (0.0, 0.0))
    assert depth.nominal == pytest.approx(13.32 - 1.2)
    assert not any(name.startswith(("thickness", "lying")) for name in depth.parts)
    assert depth.parts["bed"].sensitivity == pytest.approx(0.0)


def test_resin_is_not_proud_after_a_flush():
    """What stood proud is planed off: p is zero then, and a local one leaves the dip."""
    face, local = flushed("face", -2.0).stackup, flushed("local", -2.0).stackup
    for casting in face.castings[1:]:
        assert casting.pour.p_expected.nominal == pytest.approx(0.0)
    for casting in local.castings[1:]:
        assert casting.pour.p_expected.nominal == pytest.approx(0.28)
        assert casting.pour.p_poured < 0


def test_a_local_flush_leaves_the_window():
    assert checks(flushed("local", -0.3))["window"] == pytest.approx(
        checks(flushed("none", 0.3))["window"]
    )


def test_a_proud_pour_fills_a_plug_that_could_not_be_filled():
    """What a flush is for: the fill of the weakest plug grows by what the pour is higher."""
    low = [
        c.value for c in flushed("none", 0.3).checks if c.id == "fill" and c.where.startswith("P1b")
    ]
    high = [
        c.value
        for c in flushed("face", -0.3).checks
        if c.id == "fill" and c.where.startswith("P1b")
    ]
    assert high[0] - low[0] > 0.3


def test_works_of_a_flush_take_only_what_stands_proud():
    """One file, number 4, in A, between groove and skim."""
    for kind in ("face", "local"):
        works = flushed(kind, -0.3).works
        assert [work.stem for work in works][2:5] == ["03-A-groove", "04-A-flush", "05-B-skim"]
        flush = works[3]
        assert flush.lowest == pytest.approx(13.32)
        assert (flush.facing is not None) == (kind == "face")
        assert all(pocket.proud for pocket in flush.pockets)


def test_a_proud_pour_without_a_flush_is_refused():
    """It would be a shim under the blank in B."""
    text = (SAMPLES / "coupon.toml").read_text().replace("pour_short = 0.3", "pour_short = -0.3")
    with pytest.raises(InputError, match="needs a flush"):
        load_text(text, "coupon.toml")
