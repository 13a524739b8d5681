"""Rules by which a good program is spoiled, each at a place drawn from a seed.

A rule takes the lines of a file and a generator and gives the spoiled lines, or None where it finds
no place.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence

import numpy as np

__all__ = [
    "DESIGN_RULES", "FILE_RULES", "FIRST_WAY", "LOOK_RULES", "ONLY_IN", "RULES",
    "STANDING_RULES", "WORD_RULES",
    "Draw", "Lines", "Rule", "changed", "digit_changed", "dropped", "mirrored", "pick", "replaced",
]  # fmt: skip

Lines = list[str]
Draw = np.random.Generator
Rule = Callable[[Lines, Draw], Lines | None]

_NUMBER = re.compile(r"([XYZIJ])(-?\d+\.\d+)")
_MOTION = re.compile(r"^G[0123] ")


def pick(lines: Lines, draw: Draw, which: Callable[[str], object]) -> int | None:
    """The number of a line for which `which` holds."""
    found = [k for k, line in enumerate(lines) if not line.startswith("(") and which(line)]
    return int(draw.choice(found)) if found else None


def changed(lines: Lines, k: int | None, change: Callable[[str], str | None]) -> Lines | None:
    if k is None:
        return None
    line = change(lines[k])
    return None if line is None or line == lines[k] else [*lines[:k], line, *lines[k + 1 :]]


def _in_word(change: Callable[[str, str, Draw], str | None]) -> Rule:
    """A rule that changes one word with a number: letter and digits to digits."""

    def rule(lines: Lines, draw: Draw) -> Lines | None:
        k = pick(lines, draw, lambda line: _MOTION.match(line) and _NUMBER.search(line))
        if k is None:
            return None
        words = list(_NUMBER.finditer(lines[k]))
        word = words[int(draw.integers(len(words)))]
        new = change(word[1], word[2], draw)
        return (
            None
            if new is None
            else changed(lines, k, lambda line: line[: word.start(2)] + new + line[word.end(2) :])
        )

    return rule


def _digit_lost(_letter: str, digits: str, draw: Draw) -> str:
    places = [k for k, sign in enumerate(digits) if sign.isdigit()]
    k = int(draw.choice(places))
    return digits[:k] + digits[k + 1 :]


def digit_changed(_letter: str, digits: str, draw: Draw) -> str:
    k = int(draw.choice([k for k, sign in enumerate(digits) if sign.isdigit()]))
    return digits[:k] + str((int(digits[k]) + int(draw.integers(1, 10))) % 10) + digits[k + 1 :]


def _digits_turned(_letter: str, digits: str, draw: Draw) -> str | None:
    pairs = [k for k in range(len(digits) - 1) if digits[k].isdigit() and digits[k + 1].isdigit()]
    if not pairs:
        return None
    k = int(draw.choice(pairs))
    return digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :]


def _sign(_letter: str, digits: str, _draw: Draw) -> str:
    return digits[1:] if digits.startswith("-") else f"-{digits}"


def dropped(which: Callable[[str], object]) -> Rule:
    def rule(lines: Lines, draw: Draw) -> Lines | None:
        k = pick(lines, draw, which)
        return None if k is None else lines[:k] + lines[k + 1 :]

    return rule


def replaced(pattern: str, by: str | Callable[[re.Match[str]], str], count: int = 1) -> Rule:
    """One line that holds the pattern has it replaced."""

    def rule(lines: Lines, draw: Draw) -> Lines | None:
        k = pick(lines, draw, lambda line: re.search(pattern, line))
        return changed(lines, k, lambda line: re.sub(pattern, by, line, count=count))

    return rule


def _everywhere(change: Callable[[str, float], float]) -> Rule:
    """All X, Y, Z (and I, J) words of the file changed alike, as by a wrong zero or scale."""

    def rule(lines: Lines, _draw: Draw) -> Lines | None:
        return [
            line
            if line.startswith("(")
            else _NUMBER.sub(lambda m: f"{m[1]}{change(m[1], float(m[2])):.4f}", line)
            for line in lines
        ]

    return rule


def _doubled(lines: Lines, draw: Draw) -> Lines | None:
    k = pick(lines, draw, _MOTION.match)
    return None if k is None else [*lines[: k + 1], *lines[k:]]


def _swapped(lines: Lines, draw: Draw) -> Lines | None:
    k = pick(lines[:-1], draw, _MOTION.match)
    return None if k is None else [*lines[:k], lines[k + 1], lines[k], *lines[k + 2 :]]


def _fitting_stop_lost(lines: Lines) -> Lines | None:
    """Without the first stop after a cutter is called: nobody fits it."""
    called = next((k for k, line in enumerate(lines) if re.match(r"^T\d+", line)), None)
    if called is None or "M0" not in lines[called:]:
        return None
    stop = lines.index("M0", called)
    return lines[:stop] + lines[stop + 1 :]


def _letters_swapped(one: str, other: str) -> Rule:
    def rule(lines: Lines, draw: Draw) -> Lines | None:
        k = pick(
            lines,
            draw,
            lambda line: f" {one}" in line and f" {other}" in line and _MOTION.match(line),
        )
        turned = str.maketrans({one: other, other: one})
        return changed(lines, k, lambda line: line.translate(turned))

    return rule


def _stray(lines: Lines, draw: Draw) -> Lines | None:
    k = pick(lines, draw, _MOTION.match)
    if k is None:
        return None
    at = int(draw.integers(len(lines[k]) + 1))
    sign = str(draw.choice(["\x00", "\xff", "O", "@", "..", "#", "Q", "é", "%", "E5"]))
    return changed(lines, k, lambda line: line[:at] + sign + line[at:])


def _cut_short(lines: Lines, draw: Draw) -> Lines:
    first = next(k for k, line in enumerate(lines) if _MOTION.match(line))
    end = int(draw.integers(first + 1, len(lines) - 2))
    half = lines[end][: int(draw.integers(len(lines[end]) + 1))]
    return [*lines[:end], half]


def _stretch_lost(lines: Lines, draw: Draw) -> Lines | None:
    k = pick(lines, draw, _MOTION.match)
    return None if k is None else lines[:k] + lines[k + int(draw.integers(3, 12)) :]


def _feeds(change: Callable[[float], str | None], once: bool) -> Rule:
    def rule(lines: Lines, draw: Draw) -> Lines | None:
        feeds = [k for k, line in enumerate(lines) if re.match(r"^F[\d.]+$", line)]
        if not feeds:
            return None
        chosen = {int(draw.choice(feeds))} if once else set(feeds)
        out = []
        for k, line in enumerate(lines):
            new = change(float(line[1:])) if k in chosen else line
            out += [] if new is None else [new]
        return out

    return rule


def _arcs_as_lines(lines: Lines, _draw: Draw) -> Lines:
    """As a control would run them that knows no arcs."""
    return [re.sub(r"^G[23] (.*?) I.*$", r"G1 \1", line) for line in lines]


def _safe_lowered(lines: Lines, draw: Draw) -> Lines | None:
    """A rapid up that stays low."""
    rises = [k for k, line in enumerate(lines) if re.match(r"^G0 Z\d", line)]
    if not rises:
        return None
    high = max(float(lines[k][4:]) for k in rises)
    top = [k for k in rises if float(lines[k][4:]) == high]
    return changed(
        lines, int(draw.choice(top)), lambda line: f"G0 Z{float(draw.uniform(0.5, 6.0)):.4f}"
    )


def _way_down(ramp: float) -> Rule:
    """Before all other cuts down to a place of the path: straight, or over `ramp` mm along X."""

    def rule(lines: Lines, draw: Draw) -> Lines | None:
        start = next((k for k, line in enumerate(lines) if line.endswith(" M3")), None)
        if start is None:
            return None
        places, at = [], {"X": "", "Y": "", "Z": ""}
        for line in lines:
            at |= dict(re.findall(r"([XYZ])(-?[\d.]+)", line)) if _MOTION.match(line) else {}
            if re.match(r"^G[123] ", line) and all(at.values()):
                places.append(dict(at))
        highest = max(
            (float(line[4:]) for line in lines if re.match(r"^G0 Z[\d.]+$", line)), default=None
        )
        feeds = [line for line in lines if re.match(r"^F[\d.]+$", line)]
        if not places or highest is None or not feeds:
            return None
        x, y, z = (float(places[int(draw.integers(len(places)))][axis]) for axis in "XYZ")
        over = [f"G0 X{x - ramp:.4f} Y{y:.4f}", min(feeds, key=lambda line: float(line[1:]))]
        over += [f"G1 Z{z + ramp:.4f}"] if ramp else []
        way = [*over, f"G1 X{x:.4f} Z{z:.4f}", f"G0 Z{highest:.4f}"]
        return [*lines[: start + 2], *way, *lines[start + 2 :]]

    return rule


def _words(pattern: str, change: Callable[[re.Match[str]], str]) -> Rule:
    """A comment that holds the pattern has that part changed; a line of which nothing is left is
    dropped."""

    def rule(lines: Lines, draw: Draw) -> Lines | None:
        found = [
            k for k, line in enumerate(lines) if line.startswith("(") and re.search(pattern, line)
        ]
        if not found:
            return None
        k = int(draw.choice(found))
        new = re.sub(pattern, change, lines[k], count=1)
        return [*lines[:k], *([new] if new else []), *lines[k + 1 :]]

    return rule


def _sign_in_comment(lines: Lines, draw: Draw) -> Lines:
    """A sign in a comment that some controls act upon."""
    k = int(draw.choice([k for k, line in enumerate(lines) if line.startswith("(")]))
    at = int(draw.integers(1, len(lines[k])))
    return [
        *lines[:k],
        lines[k][:at] + str(draw.choice(["\x00", "\r", "\x18", "\x1b"])) + lines[k][at:],
        *lines[k + 1 :],
    ]


def _number_of_text(lines: Lines, draw: Draw) -> Lines | None:
    """A digit of a number anywhere, as on paper."""
    k = int(draw.choice([k for k, line in enumerate(lines) if re.search(r"\d\.\d", line)]))
    numbers = list(re.finditer(r"\d+\.\d+", lines[k]))
    word = numbers[int(draw.integers(len(numbers)))]
    return [
        *lines[:k],
        lines[k][: word.start()] + digit_changed("", word[0], draw) + lines[k][word.end() :],
        *lines[k + 1 :],
    ]


def _number_of_json(lines: Lines, draw: Draw) -> Lines | None:
    """A digit of a number in a file of JSON."""
    found = [k for k, line in enumerate(lines) if re.search(r"[:,\[ ]-?\d+\.\d", line)]
    k = int(draw.choice(found))
    numbers = list(re.finditer(r"(?<=[:,\[ ])-?\d+\.\d+", lines[k]))
    word = numbers[int(draw.integers(len(numbers)))]
    new = digit_changed("", word[0], draw)
    return [*lines[:k], lines[k][: word.start()] + new + lines[k][word.end() :], *lines[k + 1 :]]


def _plane_moved(by: float) -> Rule:
    """One plane of a file that planes to several, lower or higher: all level cuts at that
    height."""

    def rule(lines: Lines, draw: Draw) -> Lines | None:
        planes = sorted({line for line in lines if re.match(r"^G1 Z[\d.]+$", line)})
        if not planes:
            return None
        plane = str(draw.choice(planes))
        return [f"G1 Z{float(plane[4:]) + by:.4f}" if line == plane else line for line in lines]

    return rule


def _plane_off_and_stop_lost(lines: Lines, draw: Draw) -> Lines | None:
    """A plane that is a little off, and with it a stop."""
    moved = _plane_moved(-0.03)(lines, draw)
    return None if moved is None else dropped(lambda line: line == "M0")(moved, draw)


def mirrored(axis: str) -> Rule:
    """The file for a blank flipped about the other axis: one coordinate negated, arcs turned
    round."""
    other = {"X": "XI", "Y": "YJ"}[axis]

    def rule(lines: Lines, _draw: Draw) -> Lines:
        out = []
        for line in lines:
            if line.startswith("("):
                out.append(line)
                continue
            turned = re.sub(r"^G([23]) ", lambda m: f"G{5 - int(m[1])} ", line)
            out.append(
                _NUMBER.sub(
                    lambda m: f"{m[1]}{(-float(m[2]) if m[1] in other else float(m[2])) + 0.0:.4f}",
                    turned,
                )
            )
        return out

    return rule


FIRST_WAY = re.compile(
    r"^F[\d.]+\nG1 Z([\d.]+)\n(?:F[\d.]+\n)?G1 "
    r"X.*\n(?:\(.*\n)*M0\n",
    re.MULTILINE,
)
"""The slow first way down to a stop of a file whose zero is another than that of the file
before."""


def _first_way(change: Callable[[str], str]) -> Rule:
    def rule(lines: Lines, _draw: Draw) -> Lines | None:
        text = "\n".join([*lines, ""])
        found = FIRST_WAY.search(text)
        if found is None:
            return None
        return (text[: found.start()] + change(found[0]) + text[found.end() :]).split("\n")[:-1]

    return rule


RULES: dict[str, Rule] = {
    "sign flipped": _in_word(_sign),
    "digit lost": _in_word(_digit_lost),
    "digit changed": _in_word(digit_changed),
    "digits turned round": _in_word(_digits_turned),
    "decimal point lost": _in_word(lambda _letter, digits, _draw: digits.replace(".", "")),
    "word lost": replaced(r"(?<=\d) [XYZIJ]-?\d+\.\d+", ""),
    "line lost": dropped(_MOTION.match),
    "stretch lost": _stretch_lost,
    "line doubled": _doubled,
    "lines swapped": _swapped,
    "G0 for G1": replaced(r"^G1 ", "G0 "),
    "G1 for G0": replaced(r"^G0 ", "G1 "),
    "arcs as lines": _arcs_as_lines,
    "G2 for G3": replaced(r"^G3 ", "G2 "),
    "G3 for G2": replaced(r"^G2 ", "G3 "),
    "I and J swapped": _letters_swapped("I", "J"),
    "X and Y swapped": _letters_swapped("X", "Y"),
    "inches for mm": replaced(r"^G21$", "G20"),
    "G91 for G90": replaced(r"^G90$", "G91"),
    "G55 for G54": replaced(r"^G54$", "G55"),
    "G18 for G17": replaced(r"^G17$", "G18"),
    "preamble line lost": dropped(
        lambda line: line in ("G17", "G21", "G90", "G94", "G54", "G40", "G49", "G80", "G64")
    ),
    "wrong cutter": lambda lines, draw: changed(
        lines,
        pick(lines, draw, lambda line: re.match(r"^T\d+$", line)),
        lambda line: f"T{int(line[1:]) % 4 + 1}",
    ),
    "length offset called": replaced(r"^T(\d+)$", r"T\1\nG43 H\1"),
    "cutter not named": dropped(lambda line: re.match(r"^T\d+$", line)),
    "zero too high": _everywhere(lambda letter, value: value + (1.0 if letter == "Z" else 0.0)),
    "zero too low": _everywhere(lambda letter, value: value - (0.5 if letter == "Z" else 0.0)),
    "zero beside": _everywhere(lambda letter, value: value + (0.7 if letter in "XY" else 0.0)),
    "scaled": _everywhere(lambda letter, value: value * (1.02 if letter != "Z" else 1.0)),
    "feed x 10": _feeds(lambda feed: f"F{feed * 10:.1f}", once=True),
    "feed x 2": _feeds(lambda feed: f"F{feed * 2:.1f}", once=True),
    "feed / 10": _feeds(lambda feed: f"F{feed / 10:.1f}", once=True),
    "feed / 1000": _feeds(lambda feed: f"F{feed / 1000:.4f}", once=True),
    "feed of 1": _feeds(lambda _feed: "F1.0", once=False),
    "straight down first": _way_down(0.0),
    "steeply down first": _way_down(3.0),
    "feeds lost": _feeds(lambda feed: None, once=False),
    "spindle line lost": dropped(lambda line: line.endswith("M3")),
    "spindle backwards": replaced(r"M3$", "M4"),
    "speed digit lost": replaced(r"^S(\d)\d+", r"S\1000"),
    "dwell lost": dropped(lambda line: line.startswith("G4")),
    "stop lost": dropped(lambda line: line == "M0"),
    "stop to fit the cutter lost": lambda lines, _draw: _fitting_stop_lost(lines),
    "G61 for G64": replaced(r"^G64$", "G61"),
    "first way without its stop": _first_way(lambda way: way.removesuffix("M0\n")),
    "first way at rapid": _first_way(lambda way: way.replace("G1 ", "G0 ")),
    "first way 3 mm lower": _first_way(
        lambda way: re.sub(r"(?<=G1 Z)[\d.]+", lambda found: f"{float(found[0]) - 3.0:.4f}", way)
    ),
    "safe height low": _safe_lowered,
    "end lost": dropped(lambda line: line == "M2"),
    "cut short": _cut_short,
    "stray sign": _stray,
    "block delete": lambda lines, draw: changed(
        lines, pick(lines, draw, _MOTION.match), lambda line: f"/{line}"
    ),
    "comment left open": lambda lines, draw: changed(
        lines, pick(lines, draw, _MOTION.match), lambda line: f"{line} (look"
    ),
    "mirrored in X": mirrored("X"),
    "mirrored in Y": mirrored("Y"),
    "plane of a pass lower": _plane_moved(-0.14),
    "plane of a pass higher": _plane_moved(0.2),
    "plane off and stop lost": _plane_off_and_stop_lost,
}
"""By name: rules that spoil one file."""

ONLY_IN: Mapping[str, str] = {
    "stop lost": r"all\.nc$",
    "plane of a pass lower": r"skim-all\.nc$",
    "plane of a pass higher": r"skim-all\.nc$",
    "plane off and stop lost": r"skim-all\.nc$",
}
"""Rules that find a place only in files of such names."""

WORD_RULES: Mapping[str, Rule] = {
    "words: other cutter": _words(
        r"(?<=Fit T)\d+|(?<=Cutter: "
        r"T)\d+",
        lambda found: str(int(found[0]) % 4 + 1),
    ),
    "words: other size": _words(
        r"(?<=flat|ball) \d+(?= mm, touch)|(?<=diameter) \d+", lambda found: f" {int(found[0]) + 2}"
    ),
    "words: other set-up": _words(
        r"(?<=^.Set-up: "
        r")[ABC]",
        lambda found: "BCA"["ABC".index(found[0])],
    ),
    "words: other face": _words(
        r"(?<=^.Face up: ).*(?=\)$)", lambda found: "bottom up" if "deck" in found[0] else "deck up"
    ),
    "words: other zero": _words(
        r"(?<=touch )the [a-z ]+|(?<=with it on )the [a-z ]+|(?<=Y: "
        r")m\w+",
        lambda _found: "the edge",
    ),
    "words: other height": _words(
        r"(?<=Tip must be about "
        r")\d",
        lambda found: str(int(found[0]) % 9 + 1),
    ),
    "words: tip": _words(r"Tip must be about", lambda _found: "Tip is about"),
    "words: touch again": _words(
        r"(?<=Touch again: )\w+", lambda found: "NEVER" if found[0] == "allowed" else "allowed"
    ),
    "words: other speed": _words(r"(?<=Spindle: )\d", lambda found: str(int(found[0]) % 9 + 1)),
    "words: line lost": _words(
        r"^.(Plan|File|Set-up|Face up|Touch again|MSG, Fit|Zero "
        r"Z)\b.*$",
        lambda _found: "",
    ),
    "sign in a comment": _sign_in_comment,
}
"""Rules that change no motion, but what someone at the machine obeys, or a control."""

LOOK_RULES: Mapping[str, Rule] = {
    "first way 1 mm higher": _first_way(
        lambda way: re.sub(r"(?<=G1 Z)[\d.]+", lambda found: f"{float(found[0]) + 1.0:.4f}", way)
    ),
    "first way aside": _first_way(
        lambda way: re.sub(r"(?<=G1 X)-?[\d.]+", lambda found: f"{float(found[0]) + 1.0:.4f}", way)
    ),
}
"""Rules that let the shop see another thing at the first stop than the message says; they cut
nothing else."""


def _in_the_wood(*put: str) -> Rule:
    """Lines put in amid a cut: ten cuts in a row go before and come after."""

    def rule(lines: Lines, draw: Draw) -> Lines | None:
        cuts = [re.match(r"^G[123] ", line) is not None for line in lines]
        deep = [k for k in range(10, len(lines) - 10) if all(cuts[k - 10 : k + 10])]
        k = int(draw.choice(deep)) if deep else None
        return None if k is None else [*lines[:k], *put, *lines[k:]]

    return rule


STANDING_RULES: Mapping[str, Rule] = {
    "waits in the wood": _in_the_wood("G4 P5.0"),
    "spindle stopped in the wood": _in_the_wood("M5", "S18000 M3", "G4 P9.0"),
}
"""Rules that burn the wood or break the cutter without cutting anything else."""

DESIGN_RULES: Mapping[str, tuple[str, Rule]] = {
    "job altered": ("job.resolved.json", _number_of_json),
    "geometry altered": ("geometry.json", _number_of_json),
    "report altered": ("report.json", _number_of_json),
    "sheet altered": ("sheet.html", _number_of_text),
    "drawing altered": ("overview.svg", _number_of_text),
}
"""Rules that spoil what the folder says beside its programs: the file and the change."""

FILE_RULES: Sequence[str] = ("file missing", "files exchanged", "file of another plan")
"""Rules that spoil the set of files."""
