"""The sample coupon planned once, for the modules that only look at what came of it."""

from pathlib import Path

import pytest

from corepath.caching.folder_store import store_of
from corepath.planning.plan import Plan, plan
from corepath.planning.prepare import prepare

COUPON = Path(__file__).parents[2] / "samples" / "coupon.toml"


@pytest.fixture(scope="session")
def coupon_planned() -> Plan:
    """The coupon as shipped, with bodies."""
    return plan(prepare(COUPON), bodies=True, store=store_of())
