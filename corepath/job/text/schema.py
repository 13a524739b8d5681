"""The schema number of each kind of file: which forms are read, and how older ones are converted.

A *schema* is the meaning of the keys of one kind of file, numbered from 1. Adding an optional key
keeps the number. Renaming or removing a key, or changing its meaning, raises it by one, and a step
that converts the older form into the newer is added here. A file with a higher number was made for
a newer corepath; its keys may mean something else, so it is not read at all. So far there is one
form of each. Job files, measured places and files of a plan had no number at first, so one without
a number is of form 1.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from corepath.errors import Fault, InputError

__all__ = [
    "GEOMETRY",
    "JOB",
    "KEY",
    "MEASURED",
    "RECORD",
    "REPORT",
    "RESOLVED",
    "SHOP",
    "Schema",
    "comment_number",
]

KEY = "schema"

Step = Callable[[Mapping[str, Any]], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Schema:
    """One kind of file: what messages call it, its newest number, and the number of a file that
    states none (None: a fault).

    `steps[n]` converts the content of a file of form n to form n + 1, without changing its
    argument.
    """

    what: str
    newest: int
    unnumbered: int | None
    steps: Mapping[int, Step] = field(default_factory=dict)

    def number(self, document: Mapping[str, Any]) -> tuple[int | None, Fault | None]:
        """Return the schema number of a file, or None and the fault that it cannot be read."""
        held = document.get(KEY, self.unnumbered)
        if held is None:
            return None, Fault(KEY, "missing key", allowed=f"{KEY} = {self.newest}")
        # `true` is an int in Python, but no number of a schema
        if isinstance(held, bool) or not isinstance(held, int) or held < 1:
            return None, Fault(KEY, "is no number of a schema", allowed=self._allowed())
        if held > self.newest:
            says = (
                f"this {self.what} was written for a newer corepath, and this one cannot read it: "
                "install that one"
            )
            return None, Fault(KEY, says, str(held), self._allowed())
        return held, None

    def settle(self, document: Mapping[str, Any]) -> tuple[dict[str, Any], Fault | None]:
        """Return the content in today's form, without its number, and None; or unchanged with the
        fault that it cannot be converted."""
        held, fault = self.number(document)
        content = {key: value for key, value in document.items() if key != KEY}
        if held is not None:
            for number in range(held, self.newest):
                content = self.steps[number](content)
        return content, fault

    def is_newer(self, document: Mapping[str, Any]) -> bool:
        """Return whether the file is of a newer form, about which nothing is known."""
        held = document.get(KEY)
        return isinstance(held, int) and held > self.newest

    def require(self, document: Mapping[str, Any], file: str) -> None:
        """Raise InputError, naming `file`, where a file is of a form that cannot be read."""
        _, fault = self.number(document)
        if fault is not None:
            raise InputError([replace(fault, file=file)])

    def _allowed(self) -> str:
        return str(self.newest) if self.newest == 1 else f"1 to {self.newest}"


JOB = Schema("job file", 1, 1)
SHOP = Schema("shop file", 1, 1)
RECORD = Schema("record", 1, None)
MEASURED = Schema("file of measured places", 1, 1)
RESOLVED = Schema("job of a plan's folder", 1, 1)
GEOMETRY = Schema("geometry of a plan's folder", 1, 1)
REPORT = Schema("report of a plan's folder", 1, 1)

_COMMENT = re.compile(r"#\s*schema\s*[=:]\s*([0-9]{1,9})\s*\Z")


def comment_number(line: str) -> dict[str, int]:
    """Return the number that a comment line of a CSV file states, as `# schema = 1`, under its key;
    {} for other lines."""
    found = _COMMENT.match(line.strip())
    return {KEY: int(found[1])} if found else {}
