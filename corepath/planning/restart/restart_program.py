"""Make a program that continues a file from one of its lines: `corepath restart`.

The file is read from its text alone; `gcode/write/restart_text.py` writes the new text. The result
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
from corepath.gcode.read.blocks import Block
from corepath.gcode.read.canned_cycles import CYCLES
from corepath.gcode.read.motions import read_program
from corepath.gcode.read.read_program import ReadProgram
from corepath.gcode.read.words import read_line
from corepath.gcode.write.restart_text import (
    Completion,
    Descent,
    RestartSource,
    RestartState,
    restart_text,
)
from corepath.job.text.writing import write_new
from corepath.lengths import marked
from corepath.planning.folder.in_place import refuse_half_written
from corepath.planning.folder.limited import read_limited
from corepath.planning.progress import Progress, quiet
from corepath.planning.restart.restart_proof import HARMLESS, differs
from corepath.planning.restart.restart_state import (
    block_of,
    clear_height,
    first_line,
    plunge_feed,
    spin_up,
    state_at,
)

__all__ = ["Restart", "default_name", "restart", "write_restart"]


@dataclass(frozen=True, slots=True)
class Restart:
    """The text of a restart. `asked` is the line wanted, `line` the one it begins with, and `why`
    says why they differ.

    `place` is where the cutter goes down (program coordinates, mm), from the height `clear` (mm) at
    the feed `plunge` (mm/min), whose origin `plunge_from` names. `findings` are what reading it
    back found wrong: the text must not be used with any.
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
    """Return the name of a restart: `03-A-groove.from-812.nc` beside `03-A-groove.nc`."""
    return path.with_name(f"{path.stem}.from-{line}{path.suffix or '.nc'}")


def restart(path: Path, number: int, progress: Progress = quiet) -> Restart:
    """Make a program that continues the file `path` from line `number` (from 1). Raises InputError
    with the reason where that is not possible."""
    progress(f"reading {path.name}", 0.0)
    refuse_half_written(path.parent)
    data = _read(path)
    file = path.name
    text = data.decode("ascii", errors="replace")
    program = read_program(text, file)
    _readable(program, path)
    # Not `splitlines`, which also splits at form feeds and the like: lines must be counted as the
    # reader and the operator's editor count them.
    lines = [line.rstrip("\r") for line in text.split("\n")]
    if lines and not lines[-1].strip():
        lines.pop()
    begin, why = first_line(program, lines, number, str(path))
    state = state_at(lines, begin)
    # The first motion of that line or, for a line of other commands, of a later one.
    index = int(np.searchsorted(program.line, begin))
    _possible(program, index, state, str(path))
    descent, source = _descent(program, lines, state, index, str(path)), plunge_feed(program)[1]
    digest = hashlib.sha256(data).hexdigest()
    whole = restart_text(
        RestartSource(file, digest, number, why, tuple(_head(lines)), tuple(_rest(lines, state))),
        state,
        descent,
    )
    progress("reading the restart back", 0.5)
    return Restart(
        file=file,
        sha256=digest,
        asked=number,
        line=begin,
        why=why,
        place=state.place,
        clear=descent.clear,
        plunge=descent.plunge,
        plunge_from=source,
        tool=state.tool,
        speed=state.speed,
        units=state.grid.units,
        text=whole,
        motions=program.count - index,
        goes_down=descent.goes_down,
        findings=tuple(differs(program, index, read_program(whole, file), descent.clear)),
    )


def write_restart(made: Restart, path: Path) -> None:
    """Write the text of a restart without findings to a new file. Raises InputError where the file
    exists already, OutputError where it cannot be written."""
    if made.findings:
        raise ValueError("a restart that does not read back is not written")
    try:
        write_new(path, made.text.encode("ascii"))
    except FileExistsError:
        says = "there is such a file already, and it is never overwritten"
        raise InputError(
            [Fault("-o", says, allowed="another name, or move it away", file=str(path))]
        ) from None
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
        faults = [
            Fault("", f"{one.kind}: {marked(one.message)}", file=str(path), line=one.line)
            for one in wrong[:10]
        ]
        raise InputError(
            [
                *faults,
                Fault("", "a file that does not read cleanly is not restarted", file=str(path)),
            ]
        )


def _possible(program: ReadProgram, index: int, state: RestartState, file: str) -> None:
    # The place is NaN after a motion in machine coordinates or an offset, whose size only the
    # control knows.
    if not bool(np.isfinite(state.place).all()):
        says = (
            "where the cutter stands at that line cannot be told: an offset or G53 comes before it"
        )
        raise InputError([Fault("--from-line", says, value=str(state.line), file=file)])
    cutting = bool(program.kind[index] > 0)
    if cutting and not state.spindle:
        raise InputError(
            [
                Fault(
                    "--from-line",
                    "the spindle is stopped at that line",
                    value=str(state.line),
                    file=file,
                )
            ]
        )
    if state.backwards:
        raise InputError(
            [Fault("", "M4 turns the cutter backwards; that is not restarted", file=file)]
        )


def _descent(
    program: ReadProgram, lines: Sequence[str], state: RestartState, index: int, file: str
) -> Descent:
    """Return how the cutter comes back to the place where motion `index` begins."""
    clear = max(clear_height(program, file), state.place[2])
    # A first motion that stays at safe Z or goes up to it needs no way down before it.
    up = program.kind[index] == 0 and program.end[index, 2] >= clear - 1e-9
    # With incremental distances (G91) the motion counts from the place: it must be reached first.
    goes_down = not (up and state.absolute) and state.place[2] < clear - 1e-9
    plunge = plunge_feed(program)[0]
    first_way = _first_way(program, lines)
    return Descent(clear, plunge, spin_up(program), goes_down, float(program.feed[0]), first_way)


def _first_way(program: ReadProgram, lines: Sequence[str]) -> tuple[str, ...]:
    """Return the lines of the slow first way down to a stop, where the file has one.

    Such a file has another Z zero than the file before: after a restart a forgotten touch must be
    as visible as at the beginning.
    """
    turns = next((event.index for event in program.events if event.name == "spindle-on"), 0)
    stop = next(
        (event for event in program.events if event.name == "stop" and 0 < event.index <= turns),
        None,
    )
    if (
        stop is None
        or not np.isfinite(program.end[0, 2])
        or not (program.kind[: stop.index] == 1).all()
    ):
        return ()
    return tuple(lines[int(program.line[0]) - 1 : stop.line])


def _head(lines: Sequence[str]) -> Iterator[str]:
    """Yield the comments at the top of a file, except messages (MSG), which the restart has of its
    own."""
    for text in lines:
        bare = text.strip()
        if bare and read_line(bare).words:
            break
        if bare.startswith("(") and not bare.replace(" ", "").upper().startswith("(MSG,"):
            yield bare


def _rest(lines: Sequence[str], state: RestartState) -> Iterator[tuple[str, Completion | None]]:
    """Yield the remaining lines, each with the words that must be added to it.

    Only the first motion gets any: the G word and the words of a cycle that it took from lines
    before, which the restart leaves out.
    """
    owed = state.motion
    for line in lines[state.line - 1 :]:
        if line.strip() == "%":
            continue
        found = None
        if owed is not None:
            block = block_of(line)
            # A line with a G word of its own keeps it, and may still lack words of a cycle. After
            # G80 (800), or a motion, nothing is owed any more.
            if "motion" in block.g:
                found = Completion(None, tuple(_kept_words(block, block.g["motion"], state)))
                owed = None if block.has_axes or block.g["motion"] == 800 else owed
            elif block.has_axes or {"I", "J", "R"} & block.words.keys():
                found = Completion(owed, tuple(_kept_words(block, owed, state)))
                owed = None
        yield line, found


def _kept_words(
    block: Block, motion: int, state: RestartState
) -> Iterator[tuple[str, float, bool]]:
    """Yield the words that a cycle keeps from line to line and that this block leaves out: letter,
    value, and whether it is a length, as `Completion` has them."""
    # NIST IR 6556, 3.5.16: Z, R, P and Q of a cycle are sticky as long as the same cycle goes on;
    # R holds from one kind of cycle to the next.
    if motion not in CYCLES or state.motion not in CYCLES:
        return
    for letter, value in zip("ZRPQ", state.cycle, strict=True):
        used = (
            letter in "ZR"
            or (letter == "P" and motion in (820, 890))
            or (letter == "Q" and motion == 830)
        )
        if (
            value is not None
            and used
            and letter not in block.words
            and (motion == state.motion or letter == "R")
        ):
            yield letter, value, letter != "P"
