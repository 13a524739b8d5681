"""What a search for fixes tried and found to hold."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from corepath.planning.fixing.levers import LeverKind
from corepath.planning.fixing.risks import lowers_a_limit
from corepath.planning.prepare import Prepared
from corepath.stackup.advice.fix import Value

__all__ = ["Held", "cautions", "failed", "shown"]


_MANY = 3
"""Values up to which it is worth to measure, face or touch better besides."""


@dataclass(frozen=True, slots=True)
class Held:
    """What was tried and holds: `kind` is the dearest of its values."""

    values: Mapping[str, Value]
    made: Prepared
    kind: LeverKind
    measured: bool = False
    needed_by: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """The ids of the checks that do not hold without a value, by its key"""
    gains: str = ""
    """What measuring gains, in words"""

    @property
    def rank(self) -> tuple[bool, LeverKind, bool, int]:
        """The order in which fixes are shown."""
        raw_top = self.values.get("deck.clean_up") == 0.0
        return raw_top, self.kind, lowers_a_limit(self.values), len(self.values)

    @property
    def asks_too_much(self) -> bool:
        """Whether it asks for more care and for many values besides."""
        sure = self.measured or any(key.startswith("tolerances.") for key in self.values)
        return sure and len(self.values) > _MANY

    @property
    def what(self) -> frozenset[str]:
        """What changes: keys, and whether the blank is measured."""
        return frozenset({*self.values, *(("measured",) if self.measured else ())})


def shown(found: Iterable[Held]) -> list[Held]:
    """Returns what was found in the order in which it is shown, each once, without what holds only
    with care where the same changes make all hold, and without what asks too much where there is
    anything else."""
    held = sorted(found, key=lambda one: one.rank)
    held = [one for one in held if not one.asks_too_much] or held
    held = list({(one.measured, tuple(sorted(one.values.items()))): one for one in held}.values())
    sure = [one.what for one in held if not cautions(one.made)]
    return [one for one in held if not cautions(one.made) or one.what not in sure]


def failed(made: Prepared) -> bool:
    """Returns whether a check fails, whatever risk the job accepts."""
    return any(check.verdict == "fail" for check in made.checks)


def cautions(made: Prepared) -> tuple[str, ...]:
    """Return the ids of the checks that hold only by root sum square, each once."""
    return tuple(dict.fromkeys(check.id for check in made.checks if check.verdict == "caution"))
