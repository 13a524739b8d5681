"""Checks of words that someone at the machine obeys, against the work: the head, and each comment
that names a cutter.

What they must say is worked out here from the work, the set-up and the shop; the words for finding
zero have one owner (`corepath.motion.zero_words`). Only letters and digits are compared. Lengths in
mm.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from corepath.gcode.read.findings import Findings
from corepath.lengths import MM_PER_INCH, marked, mm, units_of
from corepath.motion.cutter import Shape
from corepath.motion.program import Setup
from corepath.motion.zero_words import touch_words, xy_words
from corepath.readback.words.heads import head_lines
from corepath.work.works import Work

__all__ = ["Spoken", "check_spoken"]

# The longest first: a shape's name may begin with that of another.
_SHAPES = "|".join(sorted(get_args(Shape), key=len, reverse=True))
_NAMED = re.compile(
    rf"\bT(\d+)\b(?: ({_SHAPES})\b,?(?: diameter)?(?: (\d+(?:\.\d+)?) "
    r"(?:mm|in)\b)?)?"
)
_COMMENT = re.compile(r"\(([^()]*)\)")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_TIP = re.compile(r"Tip must be about (\d+(?:\.\d+)?) (mm|in) above ([^,]*)")
# mm: sizes have four decimals in mm and five in inches; one that differs by more is another size.
_ROUNDING = 0.0006
_ABOUT, _ABOUT_INCH = 0.06, 0.13  # mm: half of the last place that is written, in mm and in inches
_RPM_ROUNDING = 0.6


@dataclass(frozen=True, slots=True)
class Spoken:
    """What files say besides their works: the face that lies up by set-up, lengths in `units`;
    `asks`: a message names the cutter; `risk` is what the job accepts, which each head must say."""

    face_up: Mapping[Setup, str]
    units: Literal["mm", "inch"]
    asks: bool = True
    risk: str = ""

    def length(self, value: float) -> str:
        """Return a length (mm) in the unit of the files, without trailing zeros."""
        text = f"{value / MM_PER_INCH:.5f}" if self.units == "inch" else f"{value:.4f}"
        return "0" if float(text) == 0.0 else text.rstrip("0").rstrip(".")


def check_spoken(
    text: str,
    work: Work,
    spoken: Spoken,
    findings: Findings,
    *,
    rehearsal: bool = False,
    looks: bool = False,
) -> None:
    """Check that each line of the head that matters is there and says what the plan says, and that
    every cutter named is the work's.

    `rehearsal`: the text is one of a rehearsal. `looks`: the file stops on its first approach, and
    must say how high the tip is there.
    """
    lines = head_lines(text)
    said: dict[str, list[str]] = {}
    for line in lines:
        key, colon, value = line.partition(": ")
        said.setdefault(key if colon else line, []).append(value)
    for key, wanted in _head(work, spoken, rehearsal):
        values = said.get(key, [])
        if not values:
            should = f"; it should say: {wanted}" if wanted else ""
            findings.add("words", f'no line "{key}: ..." in its head{should}')
        for value in values:
            if wanted and _bare(value) != _bare(wanted):
                findings.add("words", f'its head says "{key}: {value}", the plan: {wanted}')
    _cutter(said.get("Cutter", []), work, spoken, findings)
    if not rehearsal:
        _speed(said.get("Spindle", []), work, findings)
    if not _comments(text, work, spoken, findings) and looks:
        findings.add(
            "words", "no message says how high the tip must stand at the stop of the first way down"
        )


def _head(work: Work, spoken: Spoken, rehearsal: bool) -> Iterator[tuple[str, str]]:
    """Yield the keys that must be there and what they must say; empty for those checked
    elsewhere."""
    zero = work.zero
    if spoken.risk:
        yield "Risk accepted", spoken.risk
    yield "File", ""
    yield "Plan", ""
    yield "Cutter", ""
    yield "Spindle", "off all the time" if rehearsal else ""
    what = (
        "rehearsal at the safe height" if rehearsal else f"operation {work.order:02d} {work.name}"
    )
    yield "Set-up", f"{work.setup}, {what}"
    yield "Face up", spoken.face_up[work.setup]
    yield "Zero X, Y", xy_words(zero, spoken.length)
    if zero.system != "G54":
        yield f"Zero in {zero.system}, not in G54", f"set X, Y and Z of {zero.system}"
    yield "Zero Z", units_of(spoken.units).text(f"touch {marked(zero.touch)}")
    yield "Touch again", "allowed" if zero.again else "NEVER, one touch serves for all"


def _cutter(values: list[str], work: Work, spoken: Spoken, findings: Findings) -> None:
    """Check number, shape and all figures of the cutter."""
    # The number of flutes is no length: it is scaled here because all figures are scaled below.
    cutter, scale = work.cutter, MM_PER_INCH if spoken.units == "inch" else 1.0
    sizes = [cutter.diameter, *([cutter.listed] if cutter.measured else [])]
    sizes += [*cutter.end_sizes, *(angle * scale for angle in cutter.end_angles)]
    sizes += [cutter.flutes * scale, cutter.cutting_length, cutter.stick_out]
    for value in values:
        named = _NAMED.search(value)
        figures = (
            [float(word) * scale for word in _NUMBER.findall(value[named.end(1) :])]
            if named
            else []
        )
        same = len(figures) == len(sizes) and all(
            abs(a - b) < _ROUNDING for a, b in zip(figures, sizes, strict=True)
        )
        if named is None or named[1] != str(cutter.number) or named[2] != cutter.shape or not same:
            findings.add(
                "words", f'its head says "Cutter: {value}", the plan has {cutter.describe()}'
            )


def _speed(values: list[str], work: Work, findings: Findings) -> None:
    for value in values:
        number = _NUMBER.match(value)
        if number is None or abs(float(number[0]) - work.cutting.rpm) > _RPM_ROUNDING:
            findings.add(
                "words",
                f'its head says "Spindle: {value}", the plan has {work.cutting.rpm:.0f} rpm',
            )


def _comments(text: str, work: Work, spoken: Spoken, findings: Findings) -> bool:
    """Check messages, the order of work, and every comment that names a cutter; return whether one
    says how high the tip is."""
    asked = tip = False
    for number, line in enumerate(text.split("\n"), 1):
        if "(" not in line:
            continue
        for says in _COMMENT.findall(line):
            message = says.replace(" ", "").upper().startswith("MSG,")
            named = [] if says.startswith(("Cutter:", "Job:")) else list(_NAMED.finditer(says))
            for one in named:
                if (message or says.startswith("Order:") or one[2]) and not _is(work, one, spoken):
                    findings.add(
                        "words",
                        f'"{says}": the plan has {work.cutter.describe()} here',
                        line=number,
                    )
            asked |= message and bool(named)
            _touch(says, number, work, findings)
            tip |= _tip(says, number, work, findings)
    if spoken.asks and not asked:
        wanted = touch_words(work.zero, f"T{work.cutter.number}")
        findings.add("words", f"no message names the cutter to fit; it should say: {wanted}")
    return tip


def _is(work: Work, named: re.Match[str], spoken: Spoken) -> bool:
    """Tell whether number, shape and size that a comment names are those of the work's cutter."""
    cutter, scale = work.cutter, MM_PER_INCH if spoken.units == "inch" else 1.0
    sizes = [one for one in (cutter.diameter, cutter.listed) if one]
    size = named[3] is None or any(abs(float(named[3]) * scale - one) < _ROUNDING for one in sizes)
    return named[1] == str(cutter.number) and named[2] in (None, cutter.shape) and size


def _touch(message: str, number: int, work: Work, findings: Findings) -> None:
    """Check what Z is touched on, as much of it as is on this line."""
    asks = re.search(r"touch Z\b.* with it on ", message)
    if asks and not _bare(touch_words(work.zero, "")).startswith(
        _bare(f"Fit, {message[asks.start() :]}")
    ):
        wanted = touch_words(work.zero, f"T{work.cutter.number}")
        findings.add("words", f'"{message}": the plan says: {wanted}', line=number)


def _tip(message: str, number: int, work: Work, findings: Findings) -> bool:
    """Check how high the tip must be at the stop of the first approach; return whether this comment
    says it."""
    seen = _TIP.search(message)
    if seen is None or work.approach is None:
        return seen is not None
    inch = seen[2] == "in"
    above, face = float(seen[1]) * (MM_PER_INCH if inch else 1.0), seen[3]
    near = abs(above - work.approach.above) <= (_ABOUT_INCH if inch else _ABOUT)
    if not near or not _bare(work.approach.face).startswith(_bare(face)):
        wanted = f"{mm(work.approach.above):.1f~} above {work.approach.face}"
        findings.add("words", f'"{message}": the plan has {wanted}', line=number)
    return True


def _bare(text: str) -> str:
    """Return the letters and digits of a text alone, each run of other signs as one space."""
    kept = unicodedata.normalize("NFKD", text).lower()
    return re.sub(r"[^a-z0-9.-]+", " ", kept).strip()
