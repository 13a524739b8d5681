"""From a length with errors and a limit to a check."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from corepath.stackup.checks.verdict import Check, Verdict
from corepath.stackup.linear import Linear
from corepath.stackup.skim import TIE

__all__ = ["AtLeast", "judge", "weakest"]


@dataclass(frozen=True, slots=True)
class AtLeast:
    """What a check asks for: that `value` is at least `limit`, both in `unit`.

    With `caution_over` it is a caution as long as RSS leaves more than that, whatever the limit.
    """

    value: Linear
    limit: float
    unit: str = "mm"
    caution_over: float | None = None

    def check(self, check_id: str, *, message: str, where: str, fix: str = "") -> Check:
        """Return the check: ok when the worst case reaches the limit, caution when only RSS does,
        else fail. `message`, `where` and `fix` are its words (see `Check`)."""
        worst = self.value.worst()[0]
        rss = self.value.rss()[0]
        over = self.caution_over
        verdict: Verdict = "fail"
        if worst >= self.limit - TIE:
            verdict = "ok"
        elif rss >= self.limit - TIE if over is None else rss > over + TIE:
            verdict = "caution"
        return Check(
            id=check_id,
            verdict=verdict,
            value=self.value.nominal,
            worst=worst,
            rss=rss,
            limit=self.limit,
            unit=self.unit,
            message=message,
            where=where,
            fix=fix if verdict != "ok" else "",
            largest=self.value.largest(),
        )


def judge(
    check_id: str, value: Linear, limit: float, *, message: str, where: str, fix: str = ""
) -> Check:
    """Judge a length (mm) against the least it may be, by `AtLeast`."""
    return AtLeast(value, limit).check(check_id, message=message, where=where, fix=fix)


_RANK = {"fail": 0, "caution": 1, "ok": 2}


def weakest(checks: Iterable[Check]) -> Check:
    """Return the check with the gravest verdict, of several the one with the least worst-case
    margin. Raises ValueError without any check."""
    # Rounded: of equal margins the first is taken, whatever their float noise.
    return min(
        checks, key=lambda check: (_RANK[check.verdict], round(check.worst - check.limit, 6))
    )
