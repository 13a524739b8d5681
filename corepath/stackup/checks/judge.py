"""From a length with errors and a limit to a check."""

from __future__ import annotations

from collections.abc import Iterable

from corepath.stackup.checks.verdict import Check, Verdict
from corepath.stackup.linear import Linear
from corepath.stackup.skim import TIE

__all__ = ["judge", "weakest"]


def judge(
    check_id: str,
    value: Linear,
    limit: float,
    *,
    says: str,
    where: str,
    mend: str = "",
    unit: str = "mm",
    spread: float | None = None,
    caution_over: float | None = None,
) -> Check:
    """Judge a length against the least it may be: ok when the worst case reaches `limit`, caution
    when only RSS does, else fail.

    `value` and `limit` are in `unit`. `says`, `where` and `mend` are the words of the check (see
    `Check`). `spread` is the lower RSS value where it was drawn by Monte Carlo instead. With
    `caution_over` it is a caution as long as RSS leaves more than that, whatever the limit.
    """
    worst, rss = value.worst()[0], value.rss()[0] if spread is None else spread
    verdict: Verdict = "fail"
    if worst >= limit - TIE:
        verdict = "ok"
    elif rss >= limit - TIE if caution_over is None else rss > caution_over + TIE:
        verdict = "caution"
    return Check(
        id=check_id,
        verdict=verdict,
        value=value.nominal,
        worst=worst,
        rss=rss,
        limit=limit,
        unit=unit,
        says=says,
        where=where,
        mend=mend if verdict != "ok" else "",
        largest=value.largest(),
    )


_RANK = {"fail": 0, "caution": 1, "ok": 2}


def weakest(checks: Iterable[Check]) -> Check:
    """Return the check with the gravest verdict, of several the one with the least worst-case
    margin. Raises ValueError without any check."""
    # Rounded: of equal margins the first is taken, whatever their float noise.
    return min(
        checks, key=lambda check: (_RANK[check.verdict], round(check.worst - check.limit, 6))
    )
