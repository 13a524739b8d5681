"""The run: `python -m tests.broken`; half an hour or so. `--help` tells what can be chosen.

Outcomes are kept in the folder, one a line, so that a run which was ended carries on where it
stopped. Exit code 1 where a change lives that the page does not list as one that no test can tell.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.broken.bench import ROOT, Bench, Outcome, modules
from tests.broken.drawing import Change, drawn
from tests.broken.table import ALIKE, PAGE, Row, pruned, rows, written


def main() -> int:
    options = _options()
    page = PAGE.read_text("utf-8")
    if options.prune:
        PAGE.write_text(pruned(page), "utf-8")
        return 0
    bench = Bench(options.folder)
    bench.measure()
    alike = {(row.module, row.within, row.before, row.after) for row in rows(page, ALIKE)}
    caught, lives = [], 0
    for outcome in _outcomes(bench, options, alike):
        row = Row.of(outcome)
        if outcome.caught:
            caught.append(row)
        elif (row.module, row.within, row.before, row.after) in alike:
            print(f"alike   {row.text}", flush=True)
        else:
            lives += 1
            print(f"LIVES   {row.text}  ({outcome.tried} test files)", flush=True)
    print(f"\n{len(caught)} caught, {lives} live")
    if options.table:
        PAGE.write_text(written(page, caught), "utf-8")
    return 1 if lives else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.broken", description=__doc__)
    parser.add_argument("--each", type=int, default=2, help="changes drawn a module")
    parser.add_argument("--seed", type=int, nargs="+", default=[1], help="seeds of the drawing")
    parser.add_argument(
        "--only", nargs="+", default=[""], help="only modules whose path holds one of these"
    )
    parser.add_argument(
        "--folder", type=Path, default=Path(tempfile.gettempdir()) / "corepath-broken"
    )
    parser.add_argument("--table", action="store_true", help="write the table of the page anew")
    parser.add_argument(
        "--prune",
        action="store_true",
        help="take rows out of the page whose place is gone, run nothing",
    )
    return parser.parse_args()


def _outcomes(
    bench: Bench, options: argparse.Namespace, alike: set[tuple[str, str, str, str]]
) -> Iterator[Outcome]:
    """In the order of modules; what was judged before, of the very same text and by tests since
    unchanged, is kept."""
    kept = bench.folder / "outcomes.jsonl"
    known = (
        [json.loads(line) for line in kept.read_text("utf-8").splitlines()] if kept.exists() else []
    )
    seen = {
        (one["module"], one["within"], one["before"], one["after"], one["start"]): one
        for one in known
    }
    todo = [
        (module, _drawn(module, options))
        for module in modules()
        if any(word in module for word in options.only)
    ]
    turns = [
        (module, some[k])
        for k in range(max(len(some) for _, some in todo))
        for module, some in todo
        if k < len(some)
    ]
    for module, change in turns:
        before = seen.get((module, change.within, change.before, change.after, change.start))
        if before and before["caught"]:
            yield Outcome(module, change, str(before["caught"]), int(before["tried"]))
            continue
        row = Row.of(Outcome(module, change, "", 0))
        if (row.module, row.within, row.before, row.after) in alike:
            yield Outcome(module, change, "", 0)
            continue
        outcome = bench.judge(module, change)
        with kept.open("a", encoding="utf-8") as file:
            file.write(_line(outcome) + "\n")
        yield outcome


def _drawn(module: str, options: argparse.Namespace) -> list[Change]:
    source = (ROOT / module).read_text("utf-8")
    found: dict[tuple[int, int, str], Change] = {}
    for seed in options.seed:
        for change in drawn(source, options.each, f"{seed}:{module}"):
            found[change.start, change.end, change.after] = change
    return list(found.values())


def _line(outcome: Outcome) -> str:
    change = outcome.change
    return json.dumps(
        {
            "module": outcome.module, "within": change.within, "kind": change.kind,
            "before": change.before,
            "after": change.after, "start": change.start, "caught": outcome.caught,
            "tried": outcome.tried,
        },
        ensure_ascii=False,
    )  # fmt: skip


if __name__ == "__main__":
    sys.exit(main())
