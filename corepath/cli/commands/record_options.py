"""Make the options of `corepath record` from the table of kinds, and entries from the typed words.

Some options take more than one word (`--thickness X Y T`), and those that name a thing may be given
more than once. Entries are put in the order of the work, regardless of the order in which they were
typed. Figures are in the job's units.
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from corepath.cli import completing
from corepath.errors import Fault, InputError
from corepath.job.record.entry_kinds import KINDS, Entry, EntryKind, Typed, operation_and_pass, rank
from corepath.lengths import MM_PER_INCH

__all__ = [
    "RecordCommand",
    "TypedWords",
    "entries_from",
    "figure_options",
    "note_entry",
    "option_words",
    "signature_of",
    "words_of",
]

# The unit separator: no word from a command line contains it, so words can be joined and split
# again even where they hold spaces.
_GAP = "\x1f"

TypedWords = Mapping[str, Sequence[str]]
"""The typed words of each option, in order; several words of one option are joined by `_GAP`."""

_OFFERED: Mapping[str, Callable[[str], list[str]]] = {
    "casting": completing.castings,
    "operation": completing.operations,
    "cutter": completing.cutters,
    "insert": completing.inserts,
}
"""Completions of a word, by the key of the record that it fills."""


@dataclass(frozen=True, slots=True)
class FigureOption:
    """One option as typer needs it. `words` are the placeholders; a flag has none, and `offered`
    completes a word."""

    name: str
    words: tuple[str, ...]
    help: str
    repeats: bool = False
    offered: Callable[[str], list[str]] | None = None

    @property
    def key(self) -> str:
        """Its name among the arguments of the command."""
        return self.name.removeprefix("--").replace("-", "_")

    @property
    def parameter(self) -> inspect.Parameter:
        """The option as a parameter of the command's function."""
        shown = " ".join(self.words) or None
        option = typer.Option(self.name, metavar=shown, help=self.help, autocompletion=self.offered)
        kind: Any = (list[str] | None) if self.repeats else (str | None) if self.words else bool
        default = None if self.words else False
        return inspect.Parameter(
            self.key,
            inspect.Parameter.KEYWORD_ONLY,
            default=default,
            annotation=Annotated[kind, option],
        )


def figure_options(kinds: Mapping[str, EntryKind] = KINDS) -> tuple[FigureOption, ...]:
    """Return the options for figures, each once, in the order of the table."""
    found: dict[str, FigureOption] = {}
    for kind in kinds.values():
        for typed in kind.typed:
            offered = next((_OFFERED[key] for _, key in typed.words if key in _OFFERED), None)
            words = tuple(word for word, _ in typed.words)
            found.setdefault(
                typed.option, FigureOption(typed.option, words, typed.help, typed.repeats, offered)
            )
            if typed.flag is not None:
                found.setdefault(typed.flag[0], FigureOption(typed.flag[0], (), typed.flag[1]))
            for option, word, _, help_text in typed.beside:
                found.setdefault(option, FigureOption(option, (word,), help_text))
    return tuple(found.values())


def words_of(kinds: Mapping[str, EntryKind] = KINDS) -> dict[str, tuple[str, ...]]:
    """Return the options that take more than one word, with the placeholders of the words."""
    return {option.name: option.words for option in figure_options(kinds) if len(option.words) > 1}


def signature_of(
    function: Callable[..., Any], before: str, kinds: Mapping[str, EntryKind] = KINDS
) -> inspect.Signature:
    """Return the signature of the command's function with a parameter for each option, put before
    the parameter `before`."""
    # typer makes the options from the signature alone; the function itself takes them as keywords.
    own = [
        one
        for one in inspect.signature(function, eval_str=True).parameters.values()
        if one.kind is not one.VAR_KEYWORD
    ]
    at = next(k for k, one in enumerate(own) if one.name == before)
    return inspect.Signature(
        [*own[:at], *(option.parameter for option in figure_options(kinds)), *own[at:]]
    )


class RecordCommand(TyperCommand):
    """A command whose options in the table may take several words, and may be repeated."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        return super().parse_args(ctx, _joined(args))


def _joined(args: Sequence[str]) -> list[str]:
    """Return the command line with the words of each option that takes several joined into one.

    The parser below knows a fixed number of values only, and reads a negative number such as -120
    as an option; joined behind "=" both are plain text to it.
    """
    left, several = list(args), words_of()
    made: list[str] = []
    while left:
        word = left.pop(0)
        if word == "--":
            return [*made, word, *left]
        name, equals, first = word.partition("=")
        if name not in several:
            made.append(word)
            continue
        words = [first] if equals else []
        while left and len(words) < len(several[name]) and not left[0].startswith("--"):
            words.append(left.pop(0))
        made.append(f"{name}={_GAP.join(words)}")
    return made


def option_words(words: Sequence[str]) -> Iterator[tuple[str, str | None]]:
    """Yield each option of a command line with its words, joined as `entries_from` takes them;
    None where it has none. A word that belongs to no option comes as an option of that name."""
    single = {option.name for option in figure_options() if len(option.words) == 1} | {"--note"}
    left = _joined(words)
    while left:
        name, equals, text = left.pop(0).partition("=")
        if not equals and name in single and left:
            text, equals = left.pop(0), "="
        yield name, text if equals else None


def entries_from(
    typed: TypedWords,
    *,
    scale: float,
    flags: frozenset[str] = frozenset(),
    common: Mapping[str, Any],
) -> list[Entry]:
    """Return the entries that were typed, in the order of the work. Raises InputError with all
    words that are no figures.

    `scale` is the mm in one of the job's units; `flags` are options given without a word; `common`
    are fields that all entries share (date, note, corrects).
    """
    from dataclasses import replace

    reader = _FigureReader(scale)
    found = []
    for name, kind in KINDS.items():
        for option in kind.typed:
            if _meant(option, flags):
                found += _entries(reader, name, option, typed)
    own = {name: value for name, value in common.items() if value}
    if "corrects" in own:
        own["corrects"] = reader.whole("--correct", own["corrects"])
    if reader.faults:
        raise InputError(reader.faults)
    entries = [
        replace(entry, **{k: v for k, v in own.items() if not getattr(entry, k)}) for entry in found
    ]
    return sorted(entries, key=rank)


def note_entry(common: Mapping[str, Any]) -> Entry:
    """Return an entry with a remark alone."""
    return Entry("note", note=common["note"], date=common["date"] or "")


def _meant(option: Typed, flags: frozenset[str]) -> bool:
    """Whether this kind is meant where its option is typed: one option may belong to two kinds,
    which a flag distinguishes."""
    if option.flag is not None:
        return option.flag[0] in flags
    others = {
        other.flag[0]
        for kind in KINDS.values()
        for other in kind.typed
        if other.option == option.option and other.flag is not None
    }
    return not others & flags


def _entries(reader: _FigureReader, name: str, option: Typed, typed: TypedWords) -> list[Entry]:
    found = []
    for text in typed.get(option.option, ()):
        words = text.split(_GAP)
        if reader.complete(option, words):
            fields = reader.fields(name, option, words)
            for beside, _, key, _ in option.beside:
                for word in typed.get(beside, ())[-1:]:
                    fields[key] = reader.length(beside, word)
            found.append(Entry(name, **fields))
    return found


class _FigureReader:
    """Converts words to figures and collects the faults in them; a faulty word becomes 1, so that
    the others are read too."""

    def __init__(self, scale: float) -> None:
        self.scale = scale
        self.faults: list[Fault] = []

    def complete(self, option: Typed, words: Sequence[str]) -> bool:
        """Whether an option has all of its words; if not, a fault is added."""
        if len(words) == len(option.words) and all(words):
            return True
        wanted = " ".join((option.option, *(word for word, _ in option.words)))
        self.faults.append(Fault(option.option, "needs all of its words", " ".join(words), wanted))
        return False

    def fields(self, name: str, option: Typed, words: Sequence[str]) -> dict[str, Any]:
        """Return the fields of an entry that the words of one option give."""
        found: dict[str, Any] = {}
        for (_, key), word in zip(option.words, words, strict=True):
            found |= self._field(KINDS[name], option.option, key, word)
        if "x" in found:
            found["at"] = (found.pop("x"), found.pop("y"))
        if "dx" in found:
            found["by"] = tuple(found.pop(axis, 0.0) for axis in ("dx", "dy", "dz"))
        return found

    def _field(self, kind: EntryKind, option: str, key: str, word: str) -> dict[str, Any]:
        if key == "operation":
            operation, number = operation_and_pass(word)
            return {"operation": operation, "number": number}
        if key in ("casting", "insert", "setup"):
            return {key: word}
        if key == "file":
            # as the shell completes it, with its folder; or as people say it, without .nc
            name = word.replace("\\", "/").rpartition("/")[2]
            return {key: name if name.endswith(".nc") else f"{name}.nc"}
        if key in ("cutter", "corrects", "line", "pass"):
            return {"number" if key == "pass" else key: self.whole(option, word)}
        if key != "value" or kind.value == "length":
            value = self.length(option, word)
            if value < 0 and key == "value" and kind.signed:
                self.faults.append(Fault(option, kind.signed, word))
            return {key: value}
        return (
            self._amount(option, word)
            if kind.value == "amount"
            else {"value": self.number(option, word)}
        )

    def _amount(self, option: str, word: str) -> dict[str, Any]:
        """Return an amount in grams or, with mm or in behind the figure, the rise of the resin."""
        text = word.lower()
        units = {"mm": 1.0, "in": MM_PER_INCH, "g": 0.0}
        suffix = next((name for name in units if text.endswith(name)), "g")
        value = self.number(option, text.removesuffix(suffix))
        return (
            {"value": value, "unit": "g"}
            if suffix == "g"
            else {"value": value * units[suffix], "unit": "mm"}
        )

    def number(self, option: str, text: str) -> float:
        """Return a finite number, written with a decimal point."""
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or abs(value) > 1e6 or "_" in text:
            self.faults.append(Fault(option, "must be a finite number with a decimal point", text))
            return 1.0
        return value

    def length(self, option: str, text: str) -> float:
        return self.number(option, text) * self.scale

    def whole(self, option: str, text: str) -> int:
        if text.isascii() and text.isdigit() and 0 < int(text[:10]) <= 10**6:
            return int(text)
        self.faults.append(Fault(option, "must be a whole number from 1 up", text))
        return 1
