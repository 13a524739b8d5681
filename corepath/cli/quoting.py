"""Quote the line of a faulty file (job, as-cut record or measured blank) with a caret under the
fault.

Lines and columns count from 1. A line longer than `WIDEST` letters is shown from near the fault on.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from corepath.errors import Fault

if TYPE_CHECKING:
    from corepath.job.text.source import Source

__all__ = ["quoter"]

WIDEST = 70


def quoter(job: Path | None) -> Callable[[Fault], list[str]]:
    """Return a function that quotes the line of a fault as two lines of text, or an empty list
    where there is nothing to quote.

    `job` is the job file of the command, if it has one; other files are read when a fault names
    them, each once.
    """
    read: dict[str, Source | None] = {} if job is None else {str(job): source_of(job)}

    def quoted(fault: Fault) -> list[str]:
        if not fault.line:
            return []
        if fault.file not in read:
            read[fault.file] = source_of(Path(fault.file)) if fault.file else None
        source = read[fault.file]
        found = source.quote(fault) if source else None
        if found is None:
            return []
        text, column, width = found
        # A file without keys (CSV), or a key that is missing: then the value is looked for.
        if source is not None and source.position(fault.key) is None:
            column, width = _under(text, fault.value, column, width)
        return _marked(text, column, width, fault.line)

    return quoted


def source_of(path: Path) -> Source | None:
    """Return a file's text, with the places of its keys where it is TOML; None where it cannot be
    read."""
    from corepath.job.text.source import Source, parse, read_text

    text, unread = read_text(path)
    if unread:
        return None
    plain = Source(str(path), text.removeprefix("\ufeff").replace("\r\n", "\n"))
    return (parse(text, str(path))[0] or plain) if path.suffix == ".toml" else plain


def _under(text: str, value: str, column: int, width: int) -> tuple[int, int]:
    """Return column and width of `value` where the line contains it exactly once, as a cell of a
    table; otherwise those given."""
    return (
        (text.index(value) + 1, len(value)) if value and text.count(value) == 1 else (column, width)
    )


def _marked(text: str, column: int, width: int, line: int) -> list[str]:
    start = max(column - 1 - WIDEST // 2, 0) if column + width > WIDEST else 0
    shown = text[start : start + WIDEST]
    caret = "^" * min(width, max(len(shown) - (column - 1 - start), 1))
    number = f"{line:>5} | "
    return [number + shown, " " * (len(number) - 2) + "| " + " " * (column - 1 - start) + caret]
