"""The files of a plan as they lie in its folder, each read once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from corepath.gcode.read.motions import read_program
from corepath.gcode.read.read_program import ReadProgram

__all__ = ["PlanFiles"]


@dataclass(frozen=True, slots=True)
class PlanFiles:
    """`texts` by name (with `.nc`), and where known what the plan states of them: its digest
    `plan`, which their heads should name, and `sha256`, by name the digest that a file had when
    planned. `programs` are those read so far, by name."""

    texts: Mapping[str, str]
    plan: str = ""
    sha256: Mapping[str, str] = field(default_factory=dict)
    programs: dict[str, ReadProgram] = field(default_factory=dict)

    def program(self, name: str) -> ReadProgram:
        """Return a file as read. Raises KeyError where there is none."""
        if name not in self.programs:
            self.programs[name] = read_program(self.texts[name], name)
        return self.programs[name]

    def read_all(self) -> None:
        """Read all files, for the processes that are copied from this one to share them."""
        for name in self.texts:
            self.program(name)
