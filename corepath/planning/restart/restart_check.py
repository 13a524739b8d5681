"""Check the restarts in a plan's folder: each must be what `corepath restart` makes from the file
beside it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from corepath.errors import InputError
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.planning.restart.restart_program import restart
from corepath.planning.restart.restart_proof import differs

__all__ = ["check_restarts", "is_restart"]

_NAME = re.compile(r"(.+)\.from-([0-9]{1,9})(\.nc)", re.IGNORECASE)


def is_restart(name: str) -> bool:
    """Whether a file is named as a restart, `03-A-groove.from-812.nc`."""
    return _NAME.fullmatch(name) is not None


def check_restarts(
    folder: Path, restarts: Mapping[str, str], texts: Mapping[str, str], findings: Findings
) -> None:
    """Add a finding for each of `restarts` (name to text) that differs from a restart made now from
    its file, one of `texts`, in `folder`."""
    for name, text in restarts.items():
        found = _NAME.fullmatch(name)
        file = f"{found[1]}{found[3]}" if found is not None else ""
        if found is None or file not in texts:
            findings.add(
                "order", f"it is named as a restart of {file}, and no such file is here", file=name
            )
            continue
        try:
            made = restart(folder / file, int(found[2]))
        except InputError as error:
            says = (
                f"no restart of {file} from line {found[2]} can be made: {error.faults[0].message}"
            )
            findings.add("changed", says, file=name)
            continue
        if made.text != text or made.findings:
            says = (
                f"not what restart makes of {file} from line {found[2]} now: changed, or of an "
                "earlier plan"
            )
            findings.add("changed", says, file=name)
            # A changed text may still be harmless; what it does differently at the machine follows.
            planned = read_program(texts[file], file)
            index = int(np.searchsorted(planned.line, made.line))
            for wrong in differs(planned, index, read_program(text, name), made.clear):
                findings.add("changed", wrong, file=name)
