"""The coupon with a rocker, changed key by key."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from corepath.job.load import load_job
from corepath.job.model import Job, LayupSection

COUPON = Path(__file__).parents[2] / "samples" / "coupon.toml"
GENTLE = [[-120, 3.4], [-60, 0.8], [0, 0], [60, 1.1], [120, 4.2]]


@pytest.fixture(scope="session")
def rocker_job() -> Callable[..., Job]:
    """`rocker_job(cradle=True)` is the coupon with those keys in `[layup]`; its rocker is not the
    same at both ends."""

    def make(**keys: Any) -> Job:
        given = {"rocker": GENTLE, "skin_below": 0.6, "skin_above": 0.8, **keys}
        return load_job(COUPON).model_copy(update={"layup": LayupSection(**given)})

    return make
