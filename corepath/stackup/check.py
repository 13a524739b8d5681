"""The verdict on one relation of the stack-up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from corepath.lengths import Said

__all__ = ["Check", "Verdict"]

Verdict = Literal["ok", "caution", "fail"]


@dataclass(frozen=True, slots=True)
class Check:
    """One check: it holds when `value` is at least `limit` (both in `unit`).

    `value` is nominal; `worst` and `rss` are the least values by worst case and root sum square.
    *ok* holds in the worst case, *caution* only by root sum square, *fail* not even so. `where` names
    the place in words (casting, insert, cutter …), `says` the relation with its figures, `mend` what
    would help. `largest` are the contributors that cost most, as (name, mm), largest first.
    """

    id: str
    verdict: Verdict
    value: float
    worst: float
    rss: float
    limit: float
    unit: str
    says: str
    where: str
    mend: str = ""
    largest: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        for name in ("says", "where", "mend"):
            object.__setattr__(self, name, Said(getattr(self, name)))

    @property
    def margin(self) -> float:
        """What the nominal value has to spare."""
        return self.value - self.limit

    def as_dict(self) -> dict[str, Any]:
        """The entry of `report.json`, lengths rounded to 0.0001."""
        return {
            "id": self.id,
            "verdict": self.verdict,
            "value": round(self.value, 4),
            "worst": round(self.worst, 4),
            "rss": round(self.rss, 4),
            "limit": round(self.limit, 4),
            "margin": round(self.margin, 4),
            "unit": self.unit,
            "says": self.says,
            "where": self.where,
            "mend": self.mend,
            "largest": [{"contributor": name, "costs": round(cost, 4)} for name, cost in self.largest],
        }
