"""A risk that the job accepts: files are written although checks of the core's depths fail.

No verdict changes. `tolerances.accept` is the share of cores that must come out; what the odds know
nothing of (tools, hands, loads, how the blank is held) is never accepted.
"""

from __future__ import annotations

from collections.abc import Sequence

from corepath.board.features import Board
from corepath.stackup.checks.verdict import Check
from corepath.stackup.odds.odds import Odds, draw_odds, odds_words
from corepath.stackup.stackup import Stackup

__all__ = ["ACCEPTABLE", "accepted_ids", "odds_if_needed", "risk_words"]

ACCEPTABLE = frozenset({
    "window", "floor", "shows", "clean-up", "fill", "seat", "wood-over-seat", "barrel",
    "registration",
})  # fmt: skip
"""Checks whose failing may cost a core, and nothing else."""


def odds_if_needed(checks: Sequence[Check], stack: Stackup, board: Board) -> Odds | None:
    """Draws the odds where they decide whether what fails is accepted; None elsewhere."""
    wanted = stack.job.tolerances.accept is not None and _all_acceptable(checks)
    return draw_odds(stack, board) if wanted else None


def accepted_ids(
    checks: Sequence[Check], accept: float | None, odds: Odds | None
) -> tuple[str, ...]:
    """Returns the ids of the failed checks, each once, where the job accepts them all; else ().

    `accept` is `tolerances.accept`. The lower end of the interval of the odds must reach it, so
    that it is not only the draw that was lucky.
    """
    if accept is None or odds is None or odds.at_least < accept or not _all_acceptable(checks):
        return ()
    return tuple(dict.fromkeys(check.id for check in checks if check.verdict == "fail"))


def risk_words(odds: Odds | None, accepted: Sequence[str]) -> str:
    """Returns what is accepted, for heads, sheet and preview; "" where nothing is."""
    if odds is None or not accepted:
        return ""
    return f"comes out in {odds_words(odds.share)}; these checks fail: {', '.join(accepted)}"


def _all_acceptable(checks: Sequence[Check]) -> bool:
    """Whether some checks fail, and each of them may be accepted."""
    failed = {check.id for check in checks if check.verdict == "fail"}
    return bool(failed) and failed <= ACCEPTABLE
