"""Turn errors into a message and an exit code: no command ever ends in a traceback.

Results go to stdout, faults to stderr; with `--json` the faults go to stdout, as the only output
there.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

import typer

from corepath.errors import CorepathError, Fault, InputError
from corepath.lengths import MM, marked
from corepath.plain_text import safe

__all__ = [
    "FAILED",
    "WELL",
    "WRONG",
    "as_dict",
    "as_json",
    "end",
    "fault_text",
    "faults_of",
    "guarded",
    "in_letters_of",
    "say",
]

WELL, FAILED, WRONG, INTERRUPTED = 0, 1, 2, 130
_TRACE = "COREPATH_TRACEBACK"
_MOST = 100
_COLOURS = {"ok": "32", "caution": "33", "fail": "1;31"}
_VERDICT = re.compile(r"^( ?\S.*? {2,})(ok|caution|fail)(?= *$| {2})", re.MULTILINE)
"""A verdict in the second column of a table."""
_PLAIN = {
    "─": "-", "–": "-", "−": "-", "×": "x", "±": "+/-", "°": " deg", "²": "2", "³": "3", "≥": ">=",
    "≤": "<=",
    "⌀": "D", "…": "...", "·": "*", "µ": "u", "→": "->", "’": "'", "━": "-", "│": "|",
}  # fmt: skip


def say(text: str, *, error: bool = False) -> None:
    """Print text: the only way from a command to a terminal.

    Control characters, which may come from any file, are escaped; letters that the terminal cannot
    show become plain ones; verdicts in tables get their colour. A reader that closes early (as
    `head` does) is no fault.
    """
    stream = sys.stderr if error else sys.stdout
    text = in_letters_of(safe(MM.text(text)), getattr(stream, "encoding", None))
    if _coloured(stream):
        text = _VERDICT.sub(
            lambda found: f"{found[1]}\x1b[{_COLOURS[found[2]]}m{found[2]}\x1b[0m", text
        )
    try:
        stream.write(text if text.endswith("\n") else f"{text}\n")
        stream.flush()
    except BrokenPipeError:
        # Python flushes the stream once more at the end, which would fail again: the null device
        # takes the place of the closed pipe.
        with Path(os.devnull).open("w") as sink:
            os.dup2(sink.fileno(), stream.fileno())


def _coloured(stream: TextIO) -> bool:
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def in_letters_of(text: str, encoding: str | None) -> str:
    """Return `text`, with plain replacements where `encoding` lacks a letter, such as `x` for `×`
    in ASCII."""
    coding = encoding or "utf-8"
    try:
        text.encode(coding)
    except UnicodeEncodeError:
        for sign, plain in _PLAIN.items():
            text = text.replace(sign, plain)
        return text.encode(coding, "replace").decode(coding)
    except LookupError:
        pass  # an encoding that Python does not know: the stream itself replaces what it must
    return text


def as_json(content: Any) -> str:
    """Return `content` as JSON text, lengths in mm."""
    import json

    return MM.text(json.dumps(content, indent=2, ensure_ascii=False))


def end(failed: bool) -> None:
    """End the command, by raising typer.Exit: exit code 0, or 1 if a check `failed` or there are
    findings."""
    raise typer.Exit(FAILED if failed else WELL)


@contextmanager
def guarded(*, json_wanted: bool = False, job: Path | None = None) -> Iterator[None]:
    """Turn any exception raised inside into a message and an exit code; lines of the file `job` are
    quoted in messages."""
    try:
        yield
    except typer.Exit:
        raise
    except KeyboardInterrupt:
        say("interrupted; files of this run that were not finished have been left out", error=True)
        raise typer.Exit(INTERRUPTED) from None
    except InputError as error:
        _tell(faults_of(error), json_wanted, job, "; nothing has been written")
        if job is not None and not json_wanted:
            say(_next(error.faults, job), error=True)
        raise typer.Exit(WRONG) from None
    except Exception as error:
        _tell(faults_of(error), json_wanted, None)
        raise typer.Exit(error.exit_code if isinstance(error, CorepathError) else WRONG) from None


def faults_of(error: Exception) -> Sequence[Fault]:
    """Return the faults to report for an exception of any kind."""
    if isinstance(error, InputError):
        return error.faults
    if isinstance(error, MemoryError):
        return [Fault("", "not enough memory for a job of this size")]
    if isinstance(error, CorepathError):
        return [
            Fault(
                "", error.args[0] if error.args and isinstance(error.args[0], str) else str(error)
            )
        ]
    if isinstance(error, OSError):
        return [Fault("", f"{error.strerror or error}", file=str(error.filename or ""))]
    # Anything else is a fault of this program: it is named as such, without a traceback unless one
    # is asked for.
    if os.environ.get(_TRACE):
        import traceback

        traceback.print_exception(error)
    return [
        Fault(
            "",
            f"corepath itself went wrong ({type(error).__name__}: {error}); {_TRACE}=1 shows where",
        )
    ]


def _next(faults: Sequence[Fault], job: Path) -> str:
    """Return what to type next: `new` where there is no such job, `check` once the files named in
    the faults are fixed, the same again where only what was typed is wrong."""
    from corepath.cli.tables.paragraphs import next_command

    if not job.exists():
        return "Next: name a job that is there, or " + next_command("new", job).replace(
            "Next: ", "begin it: "
        )
    files = dict.fromkeys(Path(fault.file).name for fault in faults if fault.file)
    if not files:
        return "Next: fix what was typed, and type it again."
    return next_command("check", job, first=f"fix {', '.join(files)}")


def _tell(faults: Sequence[Fault], json_wanted: bool, job: Path | None, after: str = "") -> None:
    if json_wanted:
        say(as_json({"faults": [as_dict(fault) for fault in faults]}))
    else:
        say(fault_text(faults, job, after), error=True)


def as_dict(fault: Fault) -> dict[str, Any]:
    """Return a fault as an entry of `{"faults": […]}`."""
    return {
        "key": fault.key,
        "says": fault.message,
        "value": fault.value,
        "allowed": fault.allowed,
        "file": fault.file,
        "line": fault.line,
    }


def fault_text(faults: Sequence[Fault], job: Path | None, after: str) -> str:
    """Return faults with their lines quoted, and their number; `after` follows the number."""
    from corepath.cli.quoting import quoter

    quoted = quoter(job)
    blocks = [_block(fault, quoted(fault)) for fault in faults[:_MOST]]
    count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
    more = f", the first {_MOST} shown" if len(faults) > _MOST else ""
    return "\n".join([*blocks, f"{count}{more}{after}"])


def _block(fault: Fault, quoted: Sequence[str]) -> str:
    place = fault.file + (f":{fault.line}" if fault.line else "")
    lines = [": ".join(part for part in (place, fault.key, fault.message) if part), *quoted]
    if fault.value and not any(fault.value in line for line in quoted):
        lines.append(f"  got: {fault.value}")
    if fault.allowed:
        lines.append(f"  allowed: {marked(fault.allowed)}")
    return "\n".join(line.replace("\n", "\\n") for line in lines) + "\n"
