"""Everything corepath raises on purpose.

A *fault* is one thing wrong in what the user wrote. Faults are collected, so that one run names
them all; `InputError` carries them and makes a command end with exit code 2. A wrong *depth* is no
fault: it is a failed check (see `corepath.stackup.checks`) or a finding of the read-back.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from corepath.lengths import Said

__all__ = ["CorepathError", "Fault", "InputError", "OutputError"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in the input: where it stands, what stands there, what may stand there.

    `key` is the dotted path as the user would write it: `groove.inside`, `plug[2].at[1]` (tables
    and places counted from 1). `file` and `line` are filled in by the loader where they are known.
    """

    key: str
    message: str
    value: str = ""
    allowed: str = ""
    file: str = ""
    line: int | None = None

    def __post_init__(self) -> None:
        # Faults come from code that puts marked lengths into its texts: as `Said` they can still
        # be shown in the job's units. `object.__setattr__` since the class is frozen.
        for name in ("message", "value", "allowed"):
            object.__setattr__(self, name, Said(getattr(self, name)))

    def __str__(self) -> str:
        place = self.file + (f":{self.line}" if self.line else "")
        text = ": ".join(part for part in (place, self.key, self.message) if part)
        if self.value:
            text += f" (got {self.value})"
        if self.allowed:
            text += f"; allowed: {self.allowed}"
        return text


class CorepathError(Exception):
    """Root of all errors that corepath raises on purpose.

    `exit_code` is what a command ends with. Texts among `words` keep the marks of their lengths.
    """

    exit_code = 2

    def __init__(self, *words: object) -> None:
        super().__init__(*(Said(one) if isinstance(one, str) else one for one in words))


class InputError(CorepathError, ValueError):
    """The input is wrong; `faults` are all that were found, in the order of the file."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class OutputError(CorepathError, OSError):
    """The output folder or file cannot be written; what was there is untouched."""
