"""The stack-up: heights, tolerances, skim planes, fill and the checks on them."""

from corepath.stackup.checks.depth_checks import depth_checks
from corepath.stackup.checks.place_checks import place_checks
from corepath.stackup.checks.verdict import Check
from corepath.stackup.make_stackup import build_stackup
from corepath.stackup.stackup import Stackup

__all__ = ["Check", "Stackup", "build_stackup", "depth_checks", "place_checks"]
