"""A program that goes on from one line of another: `corepath restart`.

The file is read as a stranger reads it; the new text has a head of its own, a preamble that restores the modal state,
a stop to look, safe Z, spindle, dwell, a rapid above the place, a plunge at the plunge feed, and then the rest of the
file as it stands. Only its first motion may get words in front of it that it had left to the lines before. The result
is read back: from the plunge on its motions must be those of the file.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from corepath.errors import Fault, InputError, OutputError
from corepath.job.writing import write_new
from corepath.lengths import marked
from corepath.planning.in_place import refuse_half_written
from corepath.planning.limited import read_limited
from corepath.planning.progress import Progress, quiet
from corepath.planning.restart_proof import HARMLESS, differs
from corepath.planning.restart_state import At, block_of, clear_height, first_line, plunge_feed, spin_up, state_at
from corepath.post.comments import comment, message
from corepath.post.numbers import GRIDS, Grid
from corepath.readback.cycles import CYCLES
from corepath.readback.motions import read_program
from corepath.readback.program import ReadProgram
from corepath.readback.words import read_line

__all__ = ["Restart", "default_name", "restart", "write_restart"]

_ASK = "Check cutter, zero, chips cleared, work held; then cycle start"


@dataclass(frozen=True, slots=True)
class Restart:
    """The text of a restart. `asked` is the line wanted, `line` the one it begins with and `why` where they differ.

    `place` is where the cutter goes down (program coordinates, mm); `clear`, `plunge` (mm/min) and `plunge_from` say
    how. `findings` are what reading it back found wrong: with any, the text is not to be used.
    """

    file: str
    sha256: str
    asked: int
    line: int
    why: str
    place: tuple[float, float, float]
    clear: float
    plunge: float
    plunge_from: str
    tool: int | None
    speed: float
    units: str
    text: str
    motions: int
    goes_down: bool
    findings: tuple[str, ...]


def default_name(path: Path, line: int) -> Path:
    """`03-A-groove.from-812.nc` beside `03-A-groove.nc`."""
    return path.with_name(f"{path.stem}.from-{line}{path.suffix or '.nc'}")


def restart(path: Path, number: int, progress: Progress = quiet) -> Restart:
    """A program that goes on from line `number` of a file. Raises InputError with what does not allow it."""
    progress(f"reading {path.name}", 0.0)
    refuse_half_written(path.parent)
    data = _read(path)
    file = path.name
    text = data.decode("ascii", errors="replace")
    program = read_program(text, file)
    _readable(program, path)
    lines = text.split("\n")
    if lines and not lines[-1].strip():
        lines.pop()
    begin, why = first_line(program, lines, number, str(path))
    at = state_at(lines, begin)
    index = int(np.searchsorted(program.line, begin))
    _possible(program, index, at, str(path))
    made = _Maker(program, lines, at, index, path)
    digest = hashlib.sha256(data).hexdigest()
    feed, source = plunge_feed(program)
    body = [*_head(lines, file, digest, number, at, why, made), *made.preamble(), *made.approach(), *made.tail()]
    whole = "\n".join(body) + "\n"
    progress("reading the restart back", 0.5)
    return Restart(
        file=file,
        sha256=digest,
        asked=number,
        line=begin,
        why=why,
        place=at.place,
        clear=made.clear,
        plunge=feed,
        plunge_from=source,
        tool=at.tool,
        speed=at.speed,
        units="inch" if at.inch else "mm",
        text=whole,
        motions=program.count - index,
        goes_down=made.goes_down,
        findings=tuple(differs(program, index, read_program(whole, file), made.clear)),
    )


def write_restart(made: Restart, path: Path) -> None:
    """Write the text of a restart without findings to a new file. Raises InputError where one lies there already."""
    if made.findings:
        raise ValueError("a restart that does not read back is not written")
    try:
        write_new(path, made.text.encode("ascii"))
    except FileExistsError:
        says = "there is such a file already, and it is never overwritten"
        raise InputError([Fault("-o", says, allowed="another name, or move it away", file=str(path))]) from None
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror or error}") from error


def _read(path: Path) -> bytes:
    with suppress(OSError):
        if path.is_dir():
            raise InputError([Fault("", "is a folder; name one .nc file in it", file=str(path))])
    return read_limited(path)


def _readable(program: ReadProgram, path: Path) -> None:
    wrong = [finding for finding in program.findings if finding.kind not in HARMLESS]
    if wrong:
        faults = [Fault("", f"{one.kind}: {marked(one.says)}", file=str(path), line=one.line) for one in wrong[:10]]
        raise InputError([*faults, Fault("", "a file that does not read cleanly is not restarted", file=str(path))])


def _possible(program: ReadProgram, index: int, at: At, file: str) -> None:
    if not bool(np.isfinite(at.place).all()):
        says = "where the cutter stands at that line cannot be told: an offset or G53 comes before it"
        raise InputError([Fault("--from-line", says, value=str(at.line), file=file)])
    cutting = bool(program.kind[index] > 0)
    if cutting and not at.spindle:
        raise InputError([Fault("--from-line", "the spindle stands at that line", value=str(at.line), file=file)])
    if at.backwards:
        raise InputError([Fault("", "M4 turns the cutter backwards; that is not restarted", file=file)])


class _Maker:
    """Makes the lines of a restart, all in the units of the file."""

    def __init__(self, program: ReadProgram, lines: Sequence[str], at: At, index: int, path: Path) -> None:
        self.program, self.lines, self.at, self.index = program, lines, at, index
        self.grid: Grid = GRIDS["inch" if at.inch else "mm"]
        self.clear = max(clear_height(program, str(path)), at.place[2])
        self.plunge = plunge_feed(program)[0]
        self.wait = spin_up(program)

    def number(self, length: float) -> str:
        """`length` (mm) as the file would write it; two decimals more where it has more than the usual ones."""
        value, usual = length / self.grid.mm, self.grid.decimals
        fits = abs(round(value, usual) - value) < 1e-9
        return f"{round(value, usual if fits else usual + 2) + 0.0:.{usual if fits else usual + 2}f}"

    @property
    def goes_down(self) -> bool:
        """Whether the cutter has to go down before the first motion: not for one that stays or goes up to safe Z."""
        up = self.program.kind[self.index] == 0 and self.program.end[self.index, 2] >= self.clear - 1e-9
        return not (up and self.at.absolute) and self.at.place[2] < self.clear - 1e-9

    def preamble(self) -> Iterator[str]:
        at = self.at
        yield from ("G17", self.grid.word, "G90", "G94", _system(at.system), "G40", at.offset, "G80")
        if at.path:
            yield at.path
        yield "M5"
        tool = f"T{at.tool}" if at.tool is not None else ""
        if tool:
            yield f"{tool} M6" if at.changed else tool
        yield from message(_ASK)
        yield "M0"

    def approach(self) -> Iterator[str]:
        at, (x, y, z) = self.at, self.at.place
        yield from self._first_way()
        yield f"G0 Z{self.number(self.clear)}"
        if at.spindle:
            yield f"S{at.speed:g} M3"
            yield f"G4 P{self.wait:.1f}"
        yield from at.coolant
        if at.override:
            yield at.override
        yield f"G0 X{self.number(x)} Y{self.number(y)}"
        if self.goes_down:
            yield f"F{self.grid.feed(self.plunge)}"
            yield f"G1 Z{self.number(z)}"
        if at.inverse_time:
            yield "G93"
        elif at.feed > 0.0:
            yield f"F{_plain(at.feed / self.grid.mm)}"
        yield "G98" if at.to_initial else "G99"
        if not at.absolute:
            yield "G91"

    def _first_way(self) -> Iterator[str]:
        """The slow first way down to a stop, as the file has it: its zero is another than that of the file before."""
        program = self.program
        turns = next((event.index for event in program.events if event.name == "spindle-on"), 0)
        stop = next((event for event in program.events if event.name == "stop" and 0 < event.index <= turns), None)
        if stop is None or not np.isfinite(program.end[0, 2]) or not (program.kind[: stop.index] == 1).all():
            return
        yield f"F{_plain(float(program.feed[0]) / self.grid.mm)}"
        yield from (text.rstrip("\r") for text in self.lines[int(program.line[0]) - 1 : stop.line])

    def tail(self) -> Iterator[str]:
        """The rest of the file; the first motion gets the words that it took from lines before."""
        yield from comment(f"From line {self.at.line} of the file on:")
        owed = self.at.motion
        for text in self.lines[self.at.line - 1 :]:
            line = text.rstrip("\r")
            if line.strip() == "%":
                continue
            if owed is not None:
                block = block_of(line)
                if "motion" in block.g:
                    owed = None if block.has_axes or block.g["motion"] == 800 else owed
                    line = self._completed(line, block.g["motion"])
                elif block.has_axes or {"I", "J", "R"} & block.words.keys():
                    line = self._completed(f"{_before(line, _motion(owed))}", owed)
                    owed = None
            yield line

    def _completed(self, line: str, motion: int) -> str:
        """A cycle's line with the words that a cycle keeps from line to line."""
        if motion not in CYCLES or self.at.motion not in CYCLES:
            return line
        given = block_of(line).words
        z, r, p, q = self.at.cycle
        words = ""
        for letter, value, length in (("Z", z, True), ("R", r, True), ("P", p, False), ("Q", q, True)):
            used = letter in "ZR" or (letter == "P" and motion in (820, 890)) or (letter == "Q" and motion == 830)
            if value is not None and used and letter not in given and (motion == self.at.motion or letter == "R"):
                words += f" {letter}{self.number(value) if length else f'{value:g}'}"
        return _after(line, words)


def _system(code: int) -> str:
    return f"G{code // 10}" if code % 10 == 0 else f"G{code / 10:g}"


def _motion(code: int) -> str:
    return f"G{code // 10}"


def _plain(value: float) -> str:
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _before(line: str, word: str) -> str:
    """`word` in front of the commands of a line: after a block delete sign and a line number."""
    head, rest = "", line.lstrip()
    if rest.startswith("/"):
        head, rest = "/", rest[1:].lstrip()
    if rest[:1] in "Nn":
        count = 1 + len(rest[1:]) - len(rest[1:].lstrip("0123456789 \t"))
        head, rest = f"{head}{rest[:count].strip()} ", rest[count:]
    return f"{head}{word} {rest}"


def _after(line: str, words: str) -> str:
    """`words` behind the commands of a line, before its comment."""
    commands, sign, rest = line.partition("(")
    return f"{commands.rstrip()}{words}{' ' + sign + rest if sign else ''}" if words else line


def _head(lines: Sequence[str], file: str, digest: str, asked: int, at: At, why: str, made: _Maker) -> Iterator[str]:
    x, y, z = (made.number(value) for value in at.place)
    unit = made.grid.short
    says = [
        f"RESTART of {file} from line {asked}",
        *([f"It begins with line {at.line}: {why}"] if why else []),
        f"sha256 {digest}",
        f"Begins at X{x} Y{y} Z{z} {unit}",
        f"Goes down there at {made.grid.feed(made.plunge)} {unit}/min from Z{made.number(made.clear)}"
        if made.goes_down
        else f"Begins at the safe height Z{made.number(made.clear)}",
        f"Cutter: T{at.tool}, the same one, at the same zero" if at.tool is not None else "Cutter: the same as before",
        "Before cycle start: all lines before that one are cut; cutter whole and at",
        "the same length; zero kept, never restart after it is lost; homed again if",
        "the power was off; chips cleared; work still held; hose and clamps free.",
        "The head of the file follows; its minutes and extents are of the whole file.",
    ]
    for text in says:
        yield from comment(text)
    for text in lines:
        bare = text.strip()
        if bare and read_line(bare).words:
            break
        if bare.startswith("(") and not bare.replace(" ", "").upper().startswith("(MSG,"):
            yield bare
