"""The run: `python -m tests.population --jobs 200 --seed N` draws until 200 jobs pass `check`,
plans each of them, and has an independent cut confirm it. Hours; `--out` keeps each result as it
comes, and a rerun carries on.

Exit code 1 where a job that passed `check` was withheld or refused by the cut, or where fewer than
70 % passed it.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command itself

from tests.population.drawing import draw
from tests.population.judging import Outcome, judge, write_job
from tests.population.table import LEFT_OUT, PASSED, report

LEAST = 0.7


def main() -> int:
    options = _options()
    if options.one:
        drawn = draw(*options.one)
        if options.keep:
            print(write_job(drawn, options.keep / f"{drawn.seed}-{drawn.index}"))
        else:
            print(drawn.text)
        return 0
    run = "check" if options.check_only else "population"
    out = options.out or Path(tempfile.gettempdir()) / f"corepath-{run}-{options.seed}.jsonl"
    known = _known(out, options.seed)
    left_out = "nothing is planned" if options.check_only else LEFT_OUT
    print(
        f"results: {out}{f', {len(known)} of them from before' if known else ''}; {left_out}",
        flush=True,
    )
    for outcome in _outcomes(options, known, out):
        print(f"{outcome.seed} {outcome.index:4} {outcome.outcome:9} {outcome.seconds:6.1f} s  "
              f"{outcome.first[:150]}",
              flush=True)  # fmt: skip
        known[outcome.index] = outcome
    found = [known[index] for index in sorted(known)]
    print(report(found))
    passed = [one for one in found if one.outcome in PASSED]
    bad = [one for one in passed if one.outcome != ("passed" if options.check_only else "planned")]
    return 1 if bad or len(passed) < LEAST * len(found) else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.population", description=__doc__)
    parser.add_argument("--jobs", type=int, default=200, help="jobs that have to pass check")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument(
        "--only", type=int, nargs="+", metavar="INDEX", help="just these jobs of the seed"
    )
    parser.add_argument("--one", type=int, nargs=2, metavar=("SEED", "INDEX"),
                        help="print one job, or with --keep write it and its files, and plan "
                             "nothing")  # fmt: skip
    parser.add_argument(
        "--keep", type=Path, metavar="DIR", help="keep the folders of jobs that were withheld"
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="results, one a line; a rerun carries on"
    )
    parser.add_argument(
        "--check-only", action="store_true", help="draw that many jobs, check each and plan none"
    )
    parser.add_argument("--whole", action="store_true", help="with all drawings, sheet and preview")
    return parser.parse_args()


def _known(out: Path, seed: int) -> dict[int, Outcome]:
    """Results from before, by index; of two of one job the later counts, of another seed none."""
    lines = out.read_text("utf-8").splitlines() if out.exists() else []
    outcomes = [Outcome.of(line) for line in lines if line.endswith("}")]
    return {one.index: one for one in outcomes if one.seed == seed}


def _outcomes(
    options: argparse.Namespace, known: dict[int, Outcome], out: Path
) -> Iterator[Outcome]:
    """Judges what is not known yet; in order, as many at once as there are workers."""
    todo = iter(options.only) if options.only else (k for k in _count() if k not in known)
    out.parent.mkdir(parents=True, exist_ok=True)

    def enough(running: int) -> bool:
        counted = sum(options.check_only or one.outcome in PASSED for one in known.values())
        return not options.only and counted + running >= options.jobs

    with ProcessPoolExecutor(options.workers) as pool:
        running: set[Future[Outcome]] = set()
        ended = False
        while running or not ended:
            while len(running) < options.workers and not ended:
                index = None if enough(len(running)) else next(todo, None)
                if index is None:
                    ended = bool(options.only) or not running
                    break
                running.add(pool.submit(_one, index, options))
            if not running:
                continue
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for one in done:
                outcome = one.result()
                with out.open("a", encoding="utf-8") as file:
                    file.write(outcome.line() + "\n")
                yield outcome


def _count() -> Iterator[int]:
    index = 0
    while True:
        yield index
        index += 1


def _one(index: int, options: argparse.Namespace) -> Outcome:
    with tempfile.TemporaryDirectory(prefix="corepath-population-") as name:
        folder = Path(name) / f"{options.seed}-{index}"
        outcome = judge(draw(options.seed, index), folder, options.whole, options.check_only)
        if options.keep is not None and outcome.outcome in ("withheld", "cut"):
            shutil.copytree(folder, options.keep / folder.name, dirs_exist_ok=True)
        return outcome


if __name__ == "__main__":
    sys.exit(main())
