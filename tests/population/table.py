"""The table of a run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from tests.population.judging import Outcome

__all__ = ["LEFT_OUT", "PASSED", "report"]

PASSED = ("withheld", "cut", "planned", "passed")
"""Outcomes of jobs that passed `check`."""

LEFT_OUT = "left out unless --whole: drawings, maps, set-up sheet, preview"
_TRAITS = (
    "units",
    "zero",
    "flip",
    "arcs",
    "cutters",
    "outline",
    "deck",
    "flush",
    "holding",
    "measured",
    "cradle",
)


def report(found: Sequence[Outcome]) -> str:
    """Drawn, refused, failed by which check, planned, withheld by which finding; each withheld job
    in one line."""
    count = Counter(one.outcome for one in found)
    passed = [one for one in found if one.outcome in PASSED]
    share = f"{100 * len(passed) / len(found):.0f} %" if found else "-"
    rows = [
        ("drawn", len(found), ""),
        ("refused as input", count["input"], _kinds(found, "input")),
        ("failed by check", count["check"], _kinds(found, "check")),
        ("passed check", len(passed), share),
        ("withheld", count["withheld"], _kinds(found, "withheld")),
        ("refused by the independent cut", count["cut"], _kinds(found, "cut")),
        ("planned and confirmed", count["planned"], ""),
    ]
    lines = [f"{name:32}{number:5}  {words}".rstrip() for name, number, words in rows]
    lines.append(f"{'CPU seconds':32}{sum(one.seconds for one in found):7.0f}")
    lines += ["", *(_line(one) for one in found if one.outcome in ("withheld", "cut", "input"))]
    return "\n".join(lines).rstrip()


def _kinds(found: Sequence[Outcome], outcome: str) -> str:
    """In how many jobs each kind was met."""
    kinds = Counter(kind for one in found if one.outcome == outcome for kind in one.kinds)
    return ", ".join(f"{kind} {number}" for kind, number in kinds.most_common())


def _line(one: Outcome) -> str:
    kinds = ", ".join(f"{kind} {number}" for kind, number in one.kinds.items())
    traits = " ".join(
        f"{key}={one.traits[key]}"
        for key in _TRAITS
        if one.traits.get(key) not in (None, False, "none")
    )
    return f"{one.seed} {one.index}: {kinds}: {one.first[:200]} [{traits}]"
