"""Second stage of the reader: the words of one line to a block, checked against the modal groups.

A *block* is what one line asks for: at most one code of each modal group and at most one word of
every other letter. G codes are kept as ten times their number (G59.1 is 591). Source: NIST IR 6556
(2000), section 3.3.5 and Tables 3 to 5.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from corepath.gcode.read.words import Word, WordFault

__all__ = ["AXES", "G_GROUPS", "M_GROUPS", "Block", "g_name", "near_integer", "read_block"]

AXES = "XYZ"

G_GROUPS: dict[int, str] = {
    **dict.fromkeys(
        (0, 10, 20, 30, 382, 800, 810, 820, 830, 840, 850, 860, 870, 880, 890), "motion"
    ),
    **dict.fromkeys((170, 180, 190), "plane"),
    **dict.fromkeys((900, 910), "distance"),
    **dict.fromkeys((930, 940), "feed mode"),
    **dict.fromkeys((200, 210), "units"),
    **dict.fromkeys((400, 410, 420), "radius compensation"),
    **dict.fromkeys((430, 490), "length offset"),
    **dict.fromkeys((980, 990), "return level"),
    **dict.fromkeys((540, 550, 560, 570, 580, 590, 591, 592, 593), "coordinate system"),
    **dict.fromkeys((610, 611, 640), "path control"),
    **dict.fromkeys((40, 100, 280, 300, 530, 920, 921, 922, 923), "non-modal"),
}

M_GROUPS: dict[int, str] = {
    **dict.fromkeys((0, 1, 2, 30, 60), "stop"),
    **dict.fromkeys((6,), "tool change"),
    **dict.fromkeys((3, 4, 5), "spindle"),
    **dict.fromkeys((7, 8, 9), "coolant"),
    **dict.fromkeys((48, 49), "override"),
}

_UNSUPPORTED_G: dict[int, str] = {
    100: "G10 sets coordinate systems, which the read-back does not know",
    180: "the XZ plane is not simulated",
    190: "the YZ plane is not simulated",
    382: "probing is not simulated",
    410: "cutter radius compensation is not simulated",
    420: "cutter radius compensation is not simulated",
    840: "tapping is not simulated",
    860: "this boring cycle is not simulated",
    870: "this boring cycle is not simulated",
    880: "this boring cycle is not simulated",
    920: "G92 moves the origin in the middle of a program",
    921: "G92 moves the origin in the middle of a program",
    922: "G92 moves the origin in the middle of a program",
    923: "G92 moves the origin in the middle of a program",
}

# Words of RS-274 that a three-axis control knows; A, B and C are refused by name in `_take_word`.
_LETTERS = frozenset("FGHIJKLMPQRSTXYZD")
_MOST_M = 4


@dataclass(frozen=True, slots=True)
class Block:
    """One line: its codes by modal group (`g`, ten times the number; `m`), its other words by
    letter, and `faults`, what is wrong with it."""

    g: dict[str, int] = field(default_factory=dict)
    m: dict[str, int] = field(default_factory=dict)
    words: dict[str, float] = field(default_factory=dict)
    faults: tuple[WordFault, ...] = ()

    @property
    def has_axes(self) -> bool:
        return any(axis in self.words for axis in AXES)


def near_integer(value: float) -> int | None:
    """Return the integer within 0.0001 of a value (NIST IR 6556 section 3.3.2.1), else None."""
    nearest = round(value)
    return nearest if abs(value - nearest) <= 0.0001 else None


def g_name(code: int) -> str:
    """Return a G code as it is written: 591 is G59.1."""
    return f"G{code // 10}" if code % 10 == 0 else f"G{code // 10}.{code % 10}"


def _take_g(value: float, g: dict[str, int]) -> WordFault | None:
    code = near_integer(value * 10.0)
    group = None if code is None else G_GROUPS.get(code)
    if code is None or group is None:
        return WordFault("syntax", f"G{value:g} is not a code of RS-274")
    if group in g:
        return WordFault(
            "syntax", f"{g_name(g[group])} and {g_name(code)} are of one modal group ({group})"
        )
    g[group] = code
    # Known and refused, since the read-back would cut something else than the machine does.
    if code in _UNSUPPORTED_G:
        return WordFault("unsupported", f"{g_name(code)}: {_UNSUPPORTED_G[code]}")
    return None


def _take_m(value: float, m: dict[str, int]) -> WordFault | None:
    code = near_integer(value)
    group = None if code is None else M_GROUPS.get(code)
    if code is None or group is None:
        return WordFault("syntax", f"M{value:g} is not a code of RS-274")
    if group in m:
        return WordFault("syntax", f"M{m[group]} and M{code} are of one modal group ({group})")
    m[group] = code
    return None


def _take_word(word: Word, words: dict[str, float]) -> WordFault | None:
    if word.letter in "ABC":
        return WordFault("unsupported", f"the rotary axis {word.letter} is not simulated")
    if word.letter not in _LETTERS:
        return WordFault("syntax", f"{word.letter} is not a letter of RS-274 here")
    if word.letter in words:
        return WordFault("syntax", f"two {word.letter} words on one line")
    words[word.letter] = word.value
    return None


def read_block(line_words: Iterable[Word]) -> Block:
    """Sort the words of one line into a block. Never raises; faults are in the block."""
    g: dict[str, int] = {}
    m: dict[str, int] = {}
    words: dict[str, float] = {}
    faults: list[WordFault] = []
    count_m = 0
    for word in line_words:
        if word.letter == "G":
            fault = _take_g(word.value, g)
        elif word.letter == "M":
            count_m += 1
            fault = _take_m(word.value, m)
        else:
            fault = _take_word(word, words)
        if fault is not None:
            faults.append(fault)
    if count_m > _MOST_M:
        faults.append(WordFault("syntax", f"more than {_MOST_M} M words"))
    return Block(g, m, words, tuple(faults))
