"""The answer that a person wants first: does it come out, how likely, what is tightest, what to do.

All of it is known before any path is made.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from corepath.board.features import Board
from corepath.lengths import Said, marked
from corepath.reported import Key, report_keys
from corepath.stackup.advice.fix import NO_FIXES, Fixes
from corepath.stackup.checks.verdict import Check
from corepath.stackup.odds.acceptance import accepted_ids
from corepath.stackup.odds.odds import DRAWN, Odds, draw_odds, share_unmeasured
from corepath.stackup.stackup import Stackup

__all__ = ["Outcome", "Tight", "answer_of", "outcome_of", "tightest_of"]

TIGHTEST = 3
"""Margins that are named: more than three nobody reads."""

_NO_VALUES = "no floor, clean-up or step will do; nearest that works: "

Answer = Literal["ready", "with care", "accepted", "no"]

_OF_THE_CORE = frozenset({
    "window", "floor", "shows", "clean-up", "fill", "seat", "wood-over-seat", "barrel", "opens",
    "hold", "spacing", "dowels", "registration",
})  # fmt: skip
"""Checks whose margin is a length of the core: those of cutters and feeds are small by nature, and
their margins cannot be compared with these. They are named where they do not hold."""


@report_keys(
    Key("check", "check.id"), Key("where", "check.where"), Key("verdict", "check.verdict"),
    Key("value", "check.value"), Key("worst", "check.worst"), Key("limit", "check.limit"),
    Key("unit", "check.unit"), "driven_by",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Tight:
    """One of the tightest checks; `driven_by` names the error that costs it most, or its place."""

    check: Check

    @property
    def driven_by(self) -> str:
        return self.check.largest[0][0] if self.check.largest else ""


@report_keys(
    "answer", "odds", "not_in_odds", "tightest", "fix", Key("fixes", "fixes.found"),
    Key("nearest", "fixes.nearest"), "failed", "cautions", "accepted",
    Key("odds_before_measuring", "before"),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Outcome:
    """The verdict on a whole job.

    `answer`: *ready* where every check holds with all errors against it, *with care* where some
    hold only by root sum square, *no* where one fails, *accepted* where `tolerances.accept` takes
    that risk. `fixes` were tried; `first_fix` is what the first check that does not hold asks for
    of what is no value of the job, "" where there is none. `failed` and `cautions` are the ids of
    the checks with these verdicts, `accepted` those that fail and are accepted.
    """

    answer: Answer
    odds: Odds
    tightest: tuple[Tight, ...]
    first_fix: str
    failed: tuple[str, ...]
    cautions: tuple[str, ...]
    accepted: tuple[str, ...] = ()
    before: float | None = None
    """The odds, as a share, before anything was measured or recorded; None where nothing was."""
    fixes: Fixes = NO_FIXES

    @property
    def fix(self) -> Said:
        """The first fix in words, or how near any came; "" where all checks hold."""
        if self.fixes.found:
            says = self.fixes.found[0].message
            return Said(f"{_NO_VALUES}{marked(says)}") if self.fixes.other_stock else says
        nearest = self.fixes.nearest
        return Said(marked(self.first_fix)) if nearest is None else nearest.message

    @property
    def not_in_odds(self) -> tuple[str, ...]:
        """The failed checks that the odds know nothing of: tools, hands, loads, margins of hold."""
        return tuple(name for name in self.failed if name not in DRAWN)


def outcome_of(
    checks: Sequence[Check], stack: Stackup, board: Board, odds: Odds | None = None
) -> Outcome:
    """Returns the verdict on a job from all its checks, in their order; draws its odds, unless they
    are given."""
    odds = odds or draw_odds(stack, board)
    accepted = accepted_ids(checks, stack.job.tolerances.accept, odds)
    return Outcome(
        answer=answer_of(checks, accepted),
        odds=odds,
        tightest=tightest_of(checks),
        first_fix=next((check.fix for check in _wrong(checks) if check.fix), ""),
        failed=_ids(checks, "fail"),
        cautions=_ids(checks, "caution"),
        accepted=accepted,
        before=share_unmeasured(stack, board),
    )


def answer_of(checks: Sequence[Check], accepted: Sequence[str] = ()) -> Answer:
    """Returns the answer alone, which needs no odds; `accepted` are the ids of failed checks whose
    risk the job takes."""
    if any(check.verdict == "fail" for check in checks):
        return "accepted" if accepted else "no"
    return "with care" if any(check.verdict == "caution" for check in checks) else "ready"


def tightest_of(checks: Sequence[Check]) -> tuple[Tight, ...]:
    """Returns the tightest checks: what does not hold first, then the least margins."""
    return tuple(Tight(check) for check in _ranked(checks)[:TIGHTEST])


def _ids(checks: Sequence[Check], verdict: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(check.id for check in checks if check.verdict == verdict))


def _wrong(checks: Sequence[Check]) -> list[Check]:
    """Returns the checks that do not hold, the failed ones first; in each group in the order of the
    checks, which is that in which they follow from one another."""
    wrong = (check for check in checks if check.verdict != "ok")
    return sorted(wrong, key=lambda check: check.verdict != "fail")


def _ranked(checks: Sequence[Check]) -> list[Check]:
    """Returns what does not hold and then the rest by what the worst case leaves, least first."""
    held = [check for check in checks if check.verdict == "ok" and check.id in _OF_THE_CORE]
    return [*_wrong(checks), *sorted(held, key=lambda check: round(check.worst - check.limit, 6))]
