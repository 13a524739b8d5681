"""Changes of a job that were tried: what is set, what then holds, how likely, at what risk."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from corepath.lengths import Said, Units, marked, mm, plain, said_all
from corepath.reported import Key, report_keys
from corepath.stackup.odds.odds import Odds, odds_words

__all__ = ["NO_FIXES", "Fix", "Fixes", "Miss", "Setting", "Value"]

_OF_STOCK = frozenset({"board.thickness", "blank.thickness"})

Value = float | bool
"""A length in mm or a flag."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One key of the job, as faults name it, with its value before and after, mm or a flag.

    `needed_by` are the ids of the checks that do not hold without it, where that was tried.
    """

    key: str
    before: Value
    after: Value
    needed_by: tuple[str, ...] = ()

    @property
    def message(self) -> str:
        """The change in words, its lengths marked: `groove.floor 1.2 → 0.7`."""
        return f"{self.key} {self.change}"

    @property
    def change(self) -> str:
        """Its values in words, their lengths marked: `1.2 → 0.7`."""
        return f"{_words(self.before)} → {_words(self.after)}"

    def typed(self, units: Units) -> str:
        """Returns the setting as it is typed behind `--apply`, in the job's units."""
        if isinstance(self.after, bool):
            return f"{self.key}={str(self.after).lower()}"
        return f"{self.key}={plain(units.scaled(self.after), 5)}"


_MANY = 3
"""Changes up to which a fix need not say what each is needed by."""


_CORE, _STATIONS = "board.thickness", "deck.stations"
_ROW = re.compile(r"\[\d+\]")


def _changes(settings: Sequence[Setting]) -> Iterator[str]:
    """Yields each change in words: like keys with like values in one, stations that follow the core
    with it, and of more than `_MANY` what each is needed by."""
    core = {one.after for one in settings if one.key == _CORE}
    follow = [one for one in settings if one.key.startswith(_STATIONS) and one.after in core]
    alike: dict[tuple[str, str, tuple[str, ...]], list[Setting]] = {}
    for one in settings:
        if one not in follow:
            of = _ROW.sub("", one.key), one.change, one.needed_by
            alike.setdefault(of, []).append(one)
    for (kind, change, needed_by), ones in alike.items():
        also = " with its stations" if kind == _CORE and follow else ""
        why = f" ({needed_by[0]})" if needed_by and len(alike) > _MANY else ""
        yield f"{' and '.join(one.key for one in ones)} {change}{also}{why}"


def _words(value: Value) -> str:
    return str(value).lower() if isinstance(value, bool) else f"{mm(value):.2n}"


@report_keys(
    Key("set", "values", places=None), "needed_by", "measure", "gains", "holds", "cautions",
    Key("odds", "odds.share"), "risks",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Fix:
    """A change of the job after which no check fails: all were worked out with it.

    `settings` in the order in which they are typed; `measure` how many places of the blank are to
    be measured, where that is the fix. `cautions` are the ids of the checks that then hold only by
    root sum square, `odds` those of the job so changed, `risks` in words what a person must know.
    """

    settings: tuple[Setting, ...]
    odds: Odds
    cautions: tuple[str, ...] = ()
    risks: tuple[str, ...] = ()
    measure: int = 0
    gains: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "risks", said_all(self.risks))
        object.__setattr__(self, "gains", Said(self.gains))

    @property
    def values(self) -> dict[str, Value]:
        """The values after it, mm or flags, by key."""
        return {one.key: one.after for one in self.settings}

    @property
    def needed_by(self) -> dict[str, tuple[str, ...]]:
        """By key the ids of the checks that do not hold without it, where that was tried."""
        return {one.key: one.needed_by for one in self.settings if one.needed_by}

    @property
    def holds(self) -> str:
        """`all`, or `with care` where some checks hold only by root sum square."""
        return "with care" if self.cautions else "all"

    @property
    def message(self) -> Said:
        """The fix in words: what is set, what then holds, what is risked."""
        what = list(_changes(self.settings))
        if self.measure:
            gains = f" ({marked(self.gains)}, if it is as assumed)" if self.gains else ""
            what.insert(0, f"measure the blank at {self.measure} places{gains}")
        then = [f"comes out in {odds_words(self.odds.share)}"]
        then.append(f"with care: {', '.join(self.cautions)}" if self.cautions else "all checks OK")
        then += [marked(risk) for risk in self.risks]
        return Said(f"{', '.join(what)}: {'; '.join(then)}")

    def typed(self, units: Units) -> tuple[str, ...]:
        """Returns its settings as they are typed, in the job's units."""
        return tuple(one.typed(units) for one in self.settings)


@report_keys(Key("set", "values", places=None), "fails", Key("says", "message"))
@dataclass(frozen=True, slots=True)
class Miss:
    """The change that came nearest where none will do: `fails` are the ids of what fails with it,
    `why` says of the first of them what is missing."""

    settings: tuple[Setting, ...]
    fails: tuple[str, ...]
    why: str

    @property
    def values(self) -> dict[str, Value]:
        """The values of the change, mm or flags, by key."""
        return {one.key: one.after for one in self.settings}

    @property
    def message(self) -> Said:
        """The miss in words."""
        with_ = f" with {', '.join(one.message for one in self.settings)}" if self.settings else ""
        return Said(f"no change of values was found; nearest{with_}: {marked(self.why)}")


@report_keys("found", "nearest", "tried", "complete")
@dataclass(frozen=True, slots=True)
class Fixes:
    """What a search for fixes found, the cheapest first; `tried` is how many jobs were worked out,
    `complete` whether the search came to its end."""

    found: tuple[Fix, ...] = ()
    nearest: Miss | None = None
    tried: int = 0
    complete: bool = True

    @property
    def other_stock(self) -> bool:
        """Whether every fix needs another core or another blank."""
        return all(_OF_STOCK & set(fix.values) for fix in self.found)


NO_FIXES = Fixes()
