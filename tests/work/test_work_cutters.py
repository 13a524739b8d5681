"""Which cutter is chosen for what, and what is said when none fits."""

from pathlib import Path

import pytest

from corepath.errors import Fault
from corepath.job.load import load_job
from corepath.job.model import CutterSection, Job
from corepath.work.cutting.cutters import Chosen, Need, choose, cutter_faults

SAMPLES = Path(__file__).parents[2] / "samples"


def cutter(number: int, shape: str, diameter: float, length: float = 20.0) -> CutterSection:
    corner = 1.0 if shape == "bull" else 0.0
    return CutterSection(
        number=number,
        shape=shape,
        diameter=diameter,
        corner_radius=corner,
        cutting_length=length,
        stick_out=length + 5,
        chip_load=0.1,
        rpm=18000.0,
    )


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(SAMPLES / "coupon.toml")


def chosen(job: Job, cutters: list[CutterSection], **need: object) -> int:
    asked = {"operation": "x", "shapes": ("flat",), "width": None, "depth": 0.0, "key": "x", **need}
    found = choose(job.model_copy(update={"cutter": tuple(cutters)}), Need(**asked))
    assert isinstance(found, Chosen), found
    return found.cutter.number


def test_the_largest_easy_fit_wins(job: Job):
    """Of cutters that leave room for a ramp; a tight one only where there is no other."""
    cutters = [cutter(1, "flat", 6.0), cutter(2, "flat", 9.0), cutter(3, "flat", 11.5)]
    assert chosen(job, cutters, width=12.0) == 2
    assert chosen(job, cutters[2:], width=12.0) == 3


def test_reach_comes_before_size(job: Job):
    cutters = [cutter(1, "flat", 6.0, length=30.0), cutter(2, "flat", 8.0, length=10.0)]
    assert chosen(job, cutters, width=14.0, depth=12.0) == 1
    assert chosen(job, cutters, width=14.0, depth=40.0) == 1


def test_a_drill_serves_only_its_own_size(job: Job):
    drill = cutter(4, "drill", 6.0)
    assert chosen(job, [drill], shapes=("flat", "drill"), width=6.0) == 4
    lone = job.model_copy(update={"cutter": (drill,)})
    fault = choose(lone, Need("x", ("flat", "drill"), 6.5, 0.0, "dowel"))
    assert isinstance(fault, Fault)
    assert fault.key == "dowel" and "6.50" in fault.allowed


def test_shapes_are_preferred_in_order(job: Job):
    cutters = [cutter(1, "flat", 20.0), cutter(2, "ball", 10.0), cutter(3, "bull", 12.0)]
    assert chosen(job, cutters, shapes=("ball", "bull", "flat")) == 2
    assert chosen(job, cutters[::2], shapes=("ball", "bull", "flat")) == 3


def test_every_operation_without_a_cutter_is_named(job: Job):
    """All at once, before any geometry is known."""
    assert cutter_faults(job) == []
    lone = job.model_copy(update={"cutter": (cutter(1, "ball", 30.0),)})
    assert [fault.key for fault in cutter_faults(lone)] == [
        "dowel",
        "groove",
        "skim",
        "plug",
        "insert",
    ]
