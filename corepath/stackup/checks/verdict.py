"""The verdict on one relation of the stack-up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from corepath.lengths import Said
from corepath.reported import Key, report_keys

__all__ = ["Check", "Verdict"]

Verdict = Literal["ok", "caution", "fail"]


@report_keys(
    "id", "verdict", "value", "worst", "rss", "limit", "margin", "unit",
    Key("says", "message"), "where", Key("mend", "fix"), Key("largest", "contributors"),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Check:
    """The verdict of one check, which holds when `value` is at least `limit` (both in `unit`).

    `value` is nominal; `worst` and `rss` are the least values by worst case and root sum square.
    *ok* holds in the worst case, *caution* only by root sum square, *fail* by neither. `where`
    names the place in words (casting, insert, cutter …), `message` the result with its figures,
    `fix` a remedy. `largest` are the contributors that cost most, as (name, mm), largest first.
    """

    id: str
    verdict: Verdict
    value: float
    worst: float
    rss: float
    limit: float
    unit: str
    message: str
    where: str
    fix: str = ""
    largest: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        for name in ("message", "where", "fix"):
            object.__setattr__(self, name, Said(getattr(self, name)))

    def contributors(self) -> list[dict[str, Any]]:
        """Return `largest` for the report."""
        return [{"contributor": name, "costs": cost} for name, cost in self.largest]

    @property
    def margin(self) -> float:
        """The margin of the nominal value over the limit."""
        return self.value - self.limit
