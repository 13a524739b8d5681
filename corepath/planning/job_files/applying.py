"""Values written into a job file where they stand, after the changed job was worked out up to its
checks: the one way in which a command other than `new` writes a job."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path as FilePath

from corepath.errors import Fault, InputError, OutputError
from corepath.job.kinds import kind_at, wanted
from corepath.job.text.editing import edited, is_value, toml_text
from corepath.job.text.positions import Path
from corepath.job.text.shop_file import joined
from corepath.job.text.slips import decimal_comma
from corepath.job.text.source import Source, key_of, locate, parse, path_of, read_text, value_at
from corepath.job.text.writing import locked, replace_file, write_new
from corepath.planning.prepare import Prepared, prepare_source
from corepath.planning.progress import Progress, quiet

__all__ = [
    "Changed",
    "change_job",
    "keep_beside",
    "require_own",
    "settings_of",
    "typed_value",
    "write_changed",
]

_EXAMPLE = "KEY=VALUE, such as groove.floor=0.7 or insert[1].recess=0.4"


@dataclass(frozen=True, slots=True)
class Changed:
    """A job with other values, worked out and not yet written: `before` and `after` are the texts
    of its file."""

    path: FilePath
    before: str
    after: str
    prepared: Prepared

    @property
    def difference(self) -> tuple[str, ...]:
        """The lines that differ, as a unified diff; empty where nothing does."""
        old, new = self.before.splitlines(), self.after.splitlines()
        name = self.path.name
        return tuple(difflib.unified_diff(old, new, name, name, n=1, lineterm=""))

    def write(self) -> FilePath | None:
        """Write the job; see `write_changed`."""
        return write_changed(self.path, self.before, self.after)


def write_changed(path: FilePath, before: str, after: str) -> FilePath | None:
    """Write a changed file, whole or not at all, and return the path at which the old one is kept;
    None where nothing differs. Raises OutputError where the file cannot be written or was changed
    since it was read."""
    if after == before:
        return None
    file = path.resolve()  # the file itself, where the name is a link to it
    with locked(file.parent):
        if file.read_bytes() != before.encode("utf-8"):
            says = "was changed by somebody else; nothing has been written, try again"
            raise OutputError(f"{path}: {says}")
        kept = keep_beside(file, before.encode("utf-8"))
        replace_file(file, after.encode("utf-8"))
    return path.with_name(kept.name)


def settings_of(typed: Sequence[str]) -> dict[Path, str]:
    """Return path and TOML text of each `KEY=VALUE` as typed; text may lack its quotes.

    Raises InputError with all that are none.
    """
    found: dict[Path, str] = {}
    faults: list[Fault] = []
    for one in typed:
        key, equals, value = (part.strip() for part in one.partition("="))
        path = path_of(key)
        if not equals or not path or key_of(path) != key or min(_places(path), default=0) < 0:
            faults.append(Fault(one, "does not say which key gets which value", allowed=_EXAMPLE))
        elif path in found:
            faults.append(Fault(key, "is given twice", allowed="each key once"))
        else:
            found[path] = typed_value(path, value, faults)
    if faults:
        raise InputError(faults)
    return found


def _places(path: Path) -> list[int]:
    return [part for part in path if isinstance(part, int)]


def typed_value(path: Path, typed: str, faults: list[Fault]) -> str:
    """Return a typed value as TOML text; adds a fault where it is none."""
    kind = kind_at(path)
    if kind is not None and kind.name in ("text", "choice"):
        return typed if is_value(typed) and typed[0] in "\"'" else toml_text(typed)
    if is_value(typed):
        return typed
    key, allowed = key_of(path), wanted(kind) if kind is not None else ""
    if says := decimal_comma(typed):
        faults.append(Fault(key, says, value=typed, allowed=allowed))
    elif kind is not None:
        faults.append(Fault(key, "is no value for this key", value=typed, allowed=allowed))
    return toml_text(typed)


def change_job(path: FilePath, values: Mapping[Path, str], progress: Progress = quiet) -> Changed:
    """Return the job of this file with other values, TOML texts by their paths, worked out up to
    its checks; nothing is written.

    Raises InputError with all faults: of the values, and of the job that they leave.
    """
    before, faults = read_text(path)
    old, faults = (None, faults) if faults else parse(before, str(path))
    if old is None:
        raise InputError(faults)
    old, _ = joined(old)
    require_own(old, values)
    after = edited(before, values)
    new, faults = parse(after, str(path))
    if new is None:
        raise InputError(faults)
    try:
        prepared = prepare_source(new, path, progress)
    except InputError as error:
        raise InputError(_told([*error.faults], values, old)) from None
    return Changed(path, before, after, prepared)


def require_own(old: Source, values: Mapping[Path, str]) -> None:
    """Raise InputError for values that stand in the shop file: written into the job, they would
    change for this job alone what the user reads there."""
    faults = []
    for path, value in values.items():
        theirs = old.in_shop(path)
        if old.shop is not None and theirs is not None and _is_there(old.shop, theirs):
            says = f"stands in {old.shop.file}, and other jobs would change with it"
            allowed = "change it there; or give the key in the job as well, where it wins"
            placed = old.shop.place(Fault(key_of(theirs), says, value, allowed))
            faults.append(placed)
    if faults:
        raise InputError(faults)


def _is_there(shop: Source, path: Path) -> bool:
    """Whether the shop file gives this key, or has the row to which it would belong."""
    return value_at(shop.document, path)[0] or any(isinstance(part, int) for part in path)


def _told(faults: list[Fault], values: Mapping[Path, str], old: Source) -> list[Fault]:
    """Return faults of a changed text that is not written: those of typed values without a place,
    all others with that in the old file."""
    typed = [key_of(path) for path in values]
    here = [replace(fault, line=None) if fault.file == old.file else fault for fault in faults]
    ours = [fault for fault in here if _about(fault.key, typed)]
    others = [fault for fault in here if not _about(fault.key, typed)]
    return [*(replace(fault, file="") for fault in ours), *locate(others, old)]


def _about(key: str, typed: Sequence[str]) -> bool:
    """Whether a fault's key is one of those typed, within one, or a table around one."""
    return any(
        one == key
        or one.startswith((f"{key}.", f"{key}["))
        or key.startswith((f"{one}.", f"{one}["))
        for one in typed
        if key
    )


def keep_beside(file: FilePath, content: bytes) -> FilePath:
    """Keep the old content beside the file, under the first free name, and return that."""
    number = 1
    while True:
        kept = file.with_name(f"{file.name}.old" + (f"-{number}" if number > 1 else ""))
        try:
            write_new(kept, content)
            return kept
        except FileExistsError:
            number += 1
