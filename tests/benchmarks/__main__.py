"""Timed ratios, each against a named baseline: `python -m tests.benchmarks` from the project's
folder.

pytest does not collect this. A ratio says more than seconds, since both sides run on the same
machine, in turn, best of several. Only the whole plan is given in seconds and MiB, as what a user
waits for. Each row is printed as it comes, with its note, and all of them as one table in the end.
`--only NAME …` runs some parts, `--json FILE` keeps the figures. docs/benchmarks.md says what the
rows mean.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

from rich.console import Console

from tests.benchmarks.table import Row, as_table
from tests.benchmarks.timing import ONE_THREAD

PARTS = {
    "help": "processes",
    "verdict": "verdict",
    "engine": "verdict",
    "editing": "editing",
    "writing": "motions",
    "growth": "motions",
    "reading": "reading",
    "cutting": "cutting",
    "deck_sources": "deck_sources",
    "paths": "paths",
    "offsets": "offsets",
    "stackup": "stackup",
    "long_files": "long_files",
    "whole_plan": "processes",
    "plans": "whole",
    "lengths": "whole",
    "minutes": "minutes",
}
"""Name of each part, which is the function that yields its rows, and the module that it stands
in."""

_WIDTH = 180


def part(name: str) -> Callable[[], Iterator[Row]]:
    """The rows of a part. Each module is loaded only where asked for, so that it adds to no other's
    time or memory."""
    function: Callable[[], Iterator[Row]] = getattr(
        import_module(f"tests.benchmarks.{PARTS[name]}"), name
    )
    return function


def machine() -> dict[str, Any]:
    """What the figures hang on, without a name of it."""
    return {
        "cores": os.cpu_count(),
        "python": platform.python_version(),
        "system": platform.system(),
        "load": [round(value, 1) for value in os.getloadavg()],
    }


def main() -> int:
    """Print all rows and the table; 1 where a limit is not kept."""
    asked = argparse.ArgumentParser(
        prog="python -m tests.benchmarks", description=__doc__.splitlines()[0]
    )
    asked.add_argument(
        "--only",
        nargs="+",
        choices=tuple(PARTS),
        metavar="NAME",
        help=f"some parts of: {', '.join(PARTS)}",
    )
    asked.add_argument("--json", type=Path, metavar="FILE", help="write the figures to FILE")
    given = asked.parse_args()
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    begin, rows, found = machine(), [], []
    for name in given.only or PARTS:
        for row in part(name)():
            print(row.line(), flush=True)
            rows.append(row)
            found.append({"part": name, **row.as_dict()})
    print()
    Console(width=None if sys.stdout.isatty() else _WIDTH).print(as_table(rows))
    counts = {
        verdict: sum(row.verdict == verdict for row in rows) for verdict in ("ok", "NEAR", "OVER")
    }
    end = machine()
    print(", ".join(f"{count} {verdict}" for verdict, count in counts.items()), end="; ")
    print(
        f"{end['cores']} cores, Python {end['python']}, {end['system']}, load {begin['load'][0]} "
        f"to {end['load'][0]}"
    )
    if given.json:
        kept = {"machine": {**begin, "load_after": end["load"]}, "rows": found}
        given.json.write_text(json.dumps(kept, indent=1, allow_nan=False) + "\n", encoding="utf-8")
    return 1 if counts["OVER"] else 0


if __name__ == "__main__":
    sys.exit(main())
