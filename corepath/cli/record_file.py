"""Figures for `corepath record` from a file: one line for each command, as typed behind the job."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corepath.cli.commands.record_options import (
    entries_from,
    figure_options,
    note_entry,
    option_words,
)
from corepath.errors import Fault, InputError

if TYPE_CHECKING:
    from corepath.job.record.entry import Entry

__all__ = ["entries_in"]

_MOST = 2000
"""Lines of a file that are read: a core has some hundred figures."""


def entries_in(path: Path, scale: float, common: Mapping[str, Any]) -> list[Entry]:
    """Return the entries of all lines of a file, in the order of the work.

    A line holds options with their words, such as `--fill P1 0.4`, with or without the command
    before them, `corepath record board.toml`; `#` begins a comment. `scale` and `common` are those
    of `entries_from`; `--note TEXT` in a line is kept with the entries of that line, or alone.
    Raises InputError with all faults, each with its line.
    """
    from corepath.job.record.entry_kinds import rank
    from corepath.job.text.source import read_text

    text, faults = read_text(path)
    lines = text.removeprefix("\ufeff").splitlines()
    if len(lines) > _MOST:
        says = "has too many lines to be figures of one core"
        faults = [Fault("", says, str(len(lines)), f"at most {_MOST}", str(path))]
    if faults:
        raise InputError([replace(fault, key="--from") for fault in faults])
    found: list[Entry] = []
    for number, line in enumerate(lines, start=1):
        try:
            found += _entries(line, scale, common)
        except InputError as error:
            faults += [replace(one, file=str(path), line=number) for one in error.faults]
    if not found and not faults:
        faults = [Fault("--from", "holds no figure", file=str(path), allowed="--fill P1 0.4")]
    if faults:
        raise InputError(faults)
    return sorted(found, key=rank)


def _entries(line: str, scale: float, common: Mapping[str, Any]) -> list[Entry]:
    words = _words(line)
    if not words:
        return []
    typed: dict[str, list[str]] = {}
    flags: set[str] = set()
    own = dict(common)
    kinds = {option.name: option for option in figure_options()}
    for name, text in option_words(words):
        if name == "--note" and text is not None:
            own["note"] = text
        elif name not in kinds:
            raise InputError(
                [Fault(name, "is no figure to record", allowed="such as --fill P1 0.4")]
            )
        elif kinds[name].words:
            typed.setdefault(name, []).append(text or "")
        else:
            flags.add(name)
    if not typed and not flags and own["note"] != common["note"]:
        return [note_entry(own)]
    return entries_from(typed, scale=scale, flags=frozenset(flags), common=own)


def _words(line: str) -> list[str]:
    """Return the words of a line behind the command, if it has one."""
    try:
        words = shlex.split(line, comments=True)
    except ValueError as error:
        raise InputError([Fault("", f"cannot be read: {error}", line.strip())]) from None
    if words[:2] == ["corepath", "record"]:
        words = words[2:]
        while words and not words[0].startswith("--"):
            words = words[1:]  # the job, which is named on the command line
    return words
