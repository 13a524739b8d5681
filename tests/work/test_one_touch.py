"""With the zero on the face, C has one touch: what is touched is gone once the first cutter has
been over it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.planning.prepare import Prepared, prepare_job
from corepath.work.works import Work

SAMPLES = Path(__file__).parents[2] / "samples"
ON_WOOD = (106.0, 35.0)


def coupon(margin: float = 0.0, **machine: Any) -> Prepared:
    """The coupon, whose T3 of 20 finishes its deck, slowed down so that a smaller one finishes
    sooner."""
    job: Job = load_job(SAMPLES / "coupon.toml")
    slow = tuple(
        one.model_copy(update={"feed": 900.0, "chip_load": None}) if one.shape == "ball" else one
        for one in job.cutter
    )
    update = {
        "machine": job.machine.model_copy(update=machine),
        "cutter": tuple(one for one in slow if one.number != 2),
        "deck": job.deck.model_copy(update={"margin": margin, "scallop": 0.02}),
    }
    return prepare_job(job.model_copy(update=update), SAMPLES)


def deck(made: Prepared) -> tuple[Work, Work]:
    rough, finish = (
        next(work for work in made.works if work.name == name) for name in ("deck-rough", "deck")
    )
    return rough, finish


def test_two_cutters_share_the_deck_where_each_can_be_touched() -> None:
    """The case is one only if the bed's zero takes two."""
    rough, finish = deck(coupon())
    assert rough.cutter != finish.cutter
    assert not coupon().cautions or not any(
        "roughs the deck as well" in one for one in coupon().cautions
    )


def test_on_the_face_one_cutter_does_both() -> None:
    """The raw top touched with the first is gone when the second is fitted: it would cut off by
    their difference."""
    made = coupon(z_zero="face", touch_at=ON_WOOD)
    rough, finish = deck(made)
    assert rough.cutter == finish.cutter
    assert not finish.zero.again and finish.kept == rough.stem and rough.kept == ""
    (caution,) = [one for one in made.cautions if "roughs the deck as well" in one]
    assert (
        "machine.length_offset" in caution
        and "deck.margin" in caution
        and "machine.z_zero" in caution
    )


def test_lengths_in_the_control_make_one_touch_serve_for_both() -> None:
    made = coupon(z_zero="face", touch_at=ON_WOOD, tool_change="m6", length_offset=True)
    rough, finish = deck(made)
    assert rough.cutter != finish.cutter


def test_a_frame_keeps_what_is_touched_on_it_and_nothing_else() -> None:
    """Blank 240 x 90 with a frame of 8: from X112 and from Y37 on it stands at full height to the
    end of C."""
    stack = coupon(z_zero="face", touch_at=ON_WOOD).stackup
    for at, stays in (
        ((106.0, 35.0), False),
        ((106.0, 38.0), True),
        ((-113.0, 0.0), True),
        ((111.0, 0.0), False),
    ):
        job = stack.job.model_copy(
            update={
                "machine": stack.job.machine.model_copy(update={"touch_at": at}),
                "deck": stack.job.deck.model_copy(update={"margin": 8.0}),
            }
        )
        framed = replace(stack, job=job)
        assert framed.touch_stays("C") is stays
        assert framed.touch_stays("A") and not framed.touch_stays("B")
        assert framed.zero("C", "deck").again is stays
