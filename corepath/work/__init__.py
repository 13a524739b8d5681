"""What each operation must reach and may touch, from board and stack-up alone."""

from corepath.work.checks.feed_checks import feed_checks
from corepath.work.checks.hole_checks import hole_checks
from corepath.work.checks.limit_checks import limit_checks
from corepath.work.cutting.feed_report import feed_report
from corepath.work.make_works import build_works
from corepath.work.works import Deck, Facing, Hole, Obstacle, Pocket, Step, Work

__all__ = [
    "Deck", "Facing", "Hole", "Obstacle", "Pocket", "Step", "Work", "build_works", "feed_checks",
    "feed_report", "hole_checks", "limit_checks",
]  # fmt: skip
