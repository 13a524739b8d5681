"""Minutes at the machine: every sample and drawn jobs, each planned and read back, against what
they took before, and against the least that any path takes.

`minutes_before.json` has the minutes by file of the commit that it names. `python -m
tests.benchmarks.minutes FILE` writes such a file from the code as it is.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from corepath.errors import CorepathError
from corepath.motion.clock import most_a_second
from corepath.motion.feeds.line_rate import MOST_A_SECOND
from corepath.motion.pass_name import is_run, minutes_to_stop
from corepath.planning.make import MadeFile, make_files
from corepath.planning.prepare import Prepared, prepare
from corepath.planning.proving.proof import prove
from tests.benchmarks.table import Figure, Row
from tests.benchmarks.timing import ROOT
from tests.population.drawing import draw
from tests.population.judging import write_job

__all__ = ["minutes"]

BEFORE = Path(__file__).with_name("minutes_before.json")
SEED, DRAWN = 1906, 20
"""The drawn jobs: the first of this seed that pass `check`, and how many."""

SAME = 1.0005
"""Minutes up to this ratio of those before count as the same: they are kept to two decimals."""


FAILS = ("board-1280-cupped",)
"""Samples whose checks fail on purpose: nothing is planned."""

HAD_FIRST_WAY = ("06-B-inserts", "07-C-deck-rough", "09-D-trim")
"""Files whose first way down to the operator's look at the zero was at feed before, too. Now every
file that calls another cutter has one, which safety asks for: without it a cutter that is longer
than the one before comes down at rapid."""

ROUNDED = 0.011
"""Minutes of a file differ by so much where both are rounded to two decimals."""


@dataclass(frozen=True, slots=True)
class _Spent:
    """Minutes by file stem, the least that any path takes, those of the first way down to where
    the operator looks at the zero, those that feeds lowered to `MOST_A_SECOND` cost, the pass that
    the skim stops at, and how many moves begin in the busiest second of all files."""

    taken: dict[str, float]
    least: dict[str, float]
    first: dict[str, float]
    reading: dict[str, float]
    stop: int
    busiest: int

    def run(self) -> dict[str, float]:
        """The minutes of the files that are run up to the stop."""
        return {stem: one for stem, one in self.taken.items() if is_run(stem, self.stop)}

    @property
    def minutes(self) -> float:
        return sum(self.run().values())

    @property
    def ratio(self) -> float:
        """The minutes over the least; what says nothing of the least counts with its figure."""
        return self.minutes / minutes_to_stop(self.least, self.stop)


def minutes() -> Iterator[Row]:
    """Two rows a job: its minutes, and its busiest second; and one for each file that takes longer
    than before. A job that is not proved is told in its
    row, whose limit is then 0."""
    before = json.loads(BEFORE.read_text("utf-8"))
    with tempfile.TemporaryDirectory() as name:
        for job, path in _jobs(Path(name), before["jobs"]):
            if job not in before["jobs"]:
                yield Row(f"{job}: its minutes before are not known", Figure(0.0, "min"))
                continue
            theirs = sum(before["jobs"][job].values())
            spent, fault = _proved(path)
            if spent is None and job in FAILS:
                yield Row(f"{job}, as it should: {fault}", Figure(theirs, "min"))
                continue
            if spent is None:
                yield Row(f"{job}: NOT PROVED: {fault}", Figure(theirs, "min"), 0.0)
                continue
            says = f"{job}, proved, {spent.ratio:.2f} x the least of any path"
            ours = Figure(spent.minutes, "min")
            at = f"at {before['commit']}"
            yield Row(says, ours, SAME, at, Figure(theirs, "min"), note=_by_file(spent))
            yield from _slower(job, spent, before["jobs"][job], at)
            yield Row(
                f"{job}, busiest second", Figure(spent.busiest, "moves"), float(MOST_A_SECOND)
            )


def _slower(job: str, spent: _Spent, before: Mapping[str, float], at: str) -> Iterator[Row]:
    """A row for each file that takes longer than before, with the reason; without one it is over
    its limit."""
    for stem, now in spent.run().items():
        then = before.get(stem)
        if then is None or now <= then + ROUNDED:
            continue
        limit, why = 1.0, "NOT EXPLAINED"
        first = 0.0 if stem in HAD_FIRST_WAY else spent.first[stem]
        read = spent.reading[stem]
        if now - first - read <= then + ROUNDED:
            limit = (then + first + read + ROUNDED) / then
            named = (("first way down at feed", first), ("moves a second", read))
            why = ", ".join(f"{what}: {cost:.2f} min" for what, cost in named if cost > 0.0)
        says = f"{job}, {stem}, slower: {why}"
        yield Row(says, Figure(now, "min"), limit, at, Figure(then, "min"))


def _by_file(spent: _Spent) -> str:
    """Minutes and ratio of each file that is run, for the note."""
    return ", ".join(
        f"{stem} {one:.2f} ({one / spent.least[stem]:.2f})" for stem, one in spent.run().items()
    )


def _jobs(folder: Path, known: Mapping[str, object]) -> Iterator[tuple[str, Path]]:
    """Names and job files of all samples and of the drawn jobs among `known`."""
    for path in sorted((ROOT / "samples").glob("*.toml")):
        if not path.name.endswith(".ascut.toml"):
            yield path.stem, path
    for name in known:
        if name.startswith("drawn "):
            index = int(name.partition("/")[2])
            yield name, write_job(draw(SEED, index), folder / str(index))


def _proved(path: Path) -> tuple[_Spent | None, str]:
    """The minutes of a job, or why it is not proved."""
    try:
        proof = prove(prepare(path))
    except CorepathError as error:
        return None, str(error)
    failed = [check.id for check in proof.prepared.checks if check.verdict == "fail"]
    if proof.failed:
        found = () if proof.readback is None else proof.readback.findings.counts
        return None, ", ".join([*dict.fromkeys(failed), *found])
    return _spent(proof.prepared, proof.made), ""


def _spent(prepared: Prepared, made: tuple[MadeFile, ...]) -> _Spent:
    return _Spent(
        {one.program.stem: round(one.minutes, 2) for one in made},
        {one.program.stem: one.least_time.minutes for one in made},
        {one.program.stem: _first(one) for one in made},
        {one.program.stem: one.program.reading for one in made},
        prepared.stackup.skim.planned_stop,
        max(most_a_second(one.program.passes, prepared.job.machine.motion_limits) for one in made),
    )


def _first(made: MadeFile) -> float:
    approach = made.program.approach
    return 0.0 if approach is None else approach.minutes_from(made.program.park)


def _drawn(folder: Path) -> Iterator[tuple[str, Path]]:
    """The first `DRAWN` drawn jobs that pass `check`."""
    index = found = 0
    while found < DRAWN:
        path = write_job(draw(SEED, index), folder / str(index))
        if not prepare(path).failed:
            found += 1
            yield f"drawn {SEED}/{index}", path
        index += 1


def main(file: Path) -> None:
    """Write the minutes by file, up to the planned stop, of all samples and drawn jobs; what `file`
    has already is kept, so that a run can be carried on."""
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True
    ).stdout.strip()
    found: dict[str, dict[str, float]] = {}
    if file.exists():
        found = json.loads(file.read_text("utf-8"))["jobs"]
    with tempfile.TemporaryDirectory() as name:
        for job, path in (*_jobs(Path(name), {}), *_drawn(Path(name))):
            if job in found:
                continue
            prepared = prepare(path)
            spent = _spent(prepared, make_files(prepared))
            found[job] = spent.run()
            print(f"{job}: {spent.minutes:.2f}", flush=True)
            kept = {"commit": commit, "jobs": found}
            file.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
