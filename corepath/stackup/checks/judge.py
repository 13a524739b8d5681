"""From a length with errors and a limit to a check."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from corepath.stackup.checks.verdict import Check, Verdict
from corepath.stackup.linear import Linear
from corepath.stackup.skim import TIE

__all__ = ["AtLeast", "Rank", "judge", "weakest"]

Rank = tuple[int, float]
"""How grave a check is, the gravest least: its verdict, then its worst-case margin."""

_VERDICTS = {"fail": 0, "caution": 1, "ok": 2}


@dataclass(frozen=True, slots=True)
class AtLeast:
    """What a check asks for: that `value` is at least `limit`, both in `unit`.

    With `caution_over` it is a caution as long as RSS leaves more than that, whatever the limit.
    """

    value: Linear
    limit: float
    unit: str = "mm"
    caution_over: float | None = None

    @property
    def rank(self) -> Rank:
        """What `weakest` ranks its check by; without words, which of hundreds take longest."""
        worst = self.value.worst()[0]
        # a length that holds in the worst case needs no root sum square
        ok = worst >= self.limit - TIE
        return _rank(self._verdict(worst, worst if ok else self.value.rss()[0]), worst, self.limit)

    def _verdict(self, worst: float, rss: float) -> Verdict:
        over = self.caution_over
        if worst >= self.limit - TIE:
            return "ok"
        holds = rss >= self.limit - TIE if over is None else rss > over + TIE
        return "caution" if holds else "fail"

    def check(self, check_id: str, *, message: str, where: str, fix: str = "") -> Check:
        """Return the check: ok when the worst case reaches the limit, caution when only RSS does,
        else fail. `message`, `where` and `fix` are its words (see `Check`)."""
        worst = self.value.worst()[0]
        rss = self.value.rss()[0]
        verdict = self._verdict(worst, rss)
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


def _rank(verdict: Verdict, worst: float, limit: float) -> Rank:
    # Rounded: of equal margins the first is taken, whatever their float noise.
    return _VERDICTS[verdict], round(worst - limit, 6)


def weakest(checks: Iterable[Check]) -> Check:
    """Return the check with the gravest verdict, of several the one with the least worst-case
    margin. Raises ValueError without any check."""
    return min(checks, key=lambda check: _rank(check.verdict, check.worst, check.limit))
