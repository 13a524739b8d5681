"""The options of `corepath record`, from words as typed to entries of a record.

Some options take more than one word (`--thickness X Y T`), and each may be given more than once. Entries are put in the
order of the work, whatever the order they were typed in. Figures are in the job's units.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from typer.core import TyperCommand

from corepath.errors import Fault, InputError

if TYPE_CHECKING:
    from corepath.job.record_kinds import Entry

__all__ = ["WORDS", "RecordCommand", "Typed", "entries_from"]

WORDS = {
    "--thickness": ("X", "Y", "T"),
    "--groove-depth": ("X", "Y", "D"),
    "--pocket-depth": ("NAME", "D"),
    "--fill": ("NAME", "P"),
    "--top-up": ("NAME", "G"),
    "--touch": ("OPERATION", "HEIGHT"),
    "--coupon-diameter": ("NUMBER", "D"),
}
"""Options that take more than one word, and what the words are."""

_GAP = "\x1f"

Typed = Mapping[str, Sequence[str]]
"""What was typed for each option, in order; several words of one option are joined."""


class RecordCommand(TyperCommand):
    """A command whose options in `WORDS` take several words, and may be repeated."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        return super().parse_args(ctx, _joined(args))


def _joined(args: Sequence[str]) -> list[str]:
    """The command line with the words of each option in `WORDS` made one."""
    left = list(args)
    made: list[str] = []
    while left:
        word = left.pop(0)
        if word == "--":
            return [*made, word, *left]
        name, equals, first = word.partition("=")
        if name not in WORDS:
            made.append(word)
            continue
        words = [first] if equals else []
        while left and len(words) < len(WORDS[name]) and not left[0].startswith("--"):
            words.append(left.pop(0))
        made.append(f"{name}={_GAP.join(words)}")
    return made


def entries_from(typed: Typed, *, scale: float, after_skim: bool, common: Mapping[str, Any]) -> list[Entry]:
    """The entries that were typed, in the order of the work. Raises InputError with all that is no figure.

    `scale` mm are one of the job's units; `common` are fields that all entries share (date, note, corrects).
    """
    from dataclasses import replace

    reader = _Reader(scale)
    makers: dict[str, Callable[[Sequence[str]], Entry]] = {
        "--thickness": lambda words: reader.at_place("thickness-after" if after_skim else "thickness", words),
        "--groove-depth": lambda words: reader.at_place("groove-depth", words),
        "--pocket-depth": lambda words: reader.of_casting("pocket-depth", words),
        "--fill": lambda words: reader.of_casting("fill", words),
        "--top-up": reader.top_up,
        "--void": lambda words: reader.entry("void", casting=words[0]),
        "--leak": lambda words: reader.entry("leak", casting=words[0]),
        "--stop": lambda words: reader.entry("stop", number=reader.whole("--stop", words[0])),
        "--touch": reader.touch,
        "--width": lambda words: reader.entry("width", value=reader.length("--width", words[0])),
        "--moisture": lambda words: reader.entry("moisture", value=reader.number("--moisture", words[0])),
        "--coupon-diameter": reader.coupon_diameter,
        "--coupon-z": lambda words: reader.entry("coupon-z", value=reader.length("--coupon-z", words[0])),
        "--coupon-groove-width": lambda words: reader.coupon_groove(words, typed.get("--coupon-nominal", ())),
        "--cut": reader.cut,
        "--withdraw": lambda words: reader.entry("withdrawn", corrects=reader.whole("--withdraw", words[0])),
    }
    found = []
    for option, make in makers.items():
        for text in typed.get(option, ()):
            words = text.split(_GAP)
            if reader.complete(option, words):
                found.append(make(words))
    own = {name: value for name, value in common.items() if value}
    if "corrects" in own:
        own["corrects"] = reader.whole("--correct", own["corrects"])
    if reader.faults:
        raise InputError(reader.faults)
    entries = [replace(entry, **{k: v for k, v in own.items() if not getattr(entry, k)}) for entry in found]
    return sorted(entries, key=_rank)


_ORDER = ("withdrawn", "coupon-diameter", "coupon-z", "coupon-groove-width", "width", "moisture", "thickness",
          "dowels", "plug-pockets", "groove", "pocket-depth", "groove-depth", "leak", "void", "fill", "top-up",
          "flush", "skim", "stop", "thickness-after", "inserts", "deck-rough", "deck", "trim",
          "bolt-holes")  # fmt: skip


def _rank(entry: Entry) -> tuple[int, int]:
    """The order of the work; a touch comes just before its operation is cut."""
    name = entry.operation if entry.kind in ("cut", "touch") else entry.kind
    place = _ORDER.index(name) if name in _ORDER else len(_ORDER)
    return place, 0 if entry.kind == "touch" else 1 + (entry.number or 0)


class _Reader:
    """Makes entries of words; collects what is wrong in them."""

    def __init__(self, scale: float) -> None:
        self.scale = scale
        self.faults: list[Fault] = []

    def complete(self, option: str, words: Sequence[str]) -> bool:
        """Whether all words of an option are there."""
        names = WORDS.get(option, ("",))
        if len(words) == len(names) and all(words):
            return True
        self.faults.append(Fault(option, "needs all of its words", " ".join(words), " ".join((option, *names)).strip()))
        return False

    def entry(self, kind: str, **fields: Any) -> Entry:
        from corepath.job.record_kinds import Entry

        return Entry(kind, **fields)

    def number(self, option: str, text: str) -> float:
        """A finite number, written with a decimal point."""
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

    def at_place(self, kind: str, words: Sequence[str]) -> Entry:
        option = "--thickness" if kind.startswith("thickness") else f"--{kind}"
        x, y, value = (self.length(option, word) for word in words)
        return self.entry(kind, at=(x, y), value=value)

    def of_casting(self, kind: str, words: Sequence[str]) -> Entry:
        return self.entry(kind, casting=words[0], value=self.length(f"--{kind}", words[1]))

    def top_up(self, words: Sequence[str]) -> Entry:
        """Grams, or with mm or in behind the figure by how much the resin was raised."""
        text = words[1].lower()
        units = {"mm": 1.0, "in": 25.4, "g": 0.0}
        suffix = next((name for name in units if text.endswith(name)), "g")
        value = self.number("--top-up", text.removesuffix(suffix))
        if suffix == "g":
            return self.entry("top-up", casting=words[0], value=value, unit="g")
        return self.entry("top-up", casting=words[0], value=value * units[suffix], unit="mm")

    def touch(self, words: Sequence[str]) -> Entry:
        height = self.length("--touch", words[1])
        if height < 0:
            self.faults.append(Fault("--touch", "is a height above the bed: type it without its sign", words[1]))
        return self.entry("touch", operation=words[0], value=height)

    def coupon_diameter(self, words: Sequence[str]) -> Entry:
        option = "--coupon-diameter"
        return self.entry("coupon-diameter", cutter=self.whole(option, words[0]), value=self.length(option, words[1]))

    def coupon_groove(self, words: Sequence[str], nominal: Sequence[str]) -> Entry:
        width = self.length("--coupon-groove-width", words[0])
        wanted = self.length("--coupon-nominal", nominal[-1]) if nominal else None
        return self.entry("coupon-groove-width", value=width, nominal=wanted)

    def cut(self, words: Sequence[str]) -> Entry:
        from corepath.job.record_kinds import operation_and_pass

        operation, number = operation_and_pass(words[0])
        return self.entry("cut", operation=operation, number=number)
