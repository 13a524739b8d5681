"""One drawn job through the loader, `check`, the planner, the read-back with all its cases, and the
independent cut."""

from __future__ import annotations

import json
import resource
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from corepath.errors import CorepathError, InputError
from corepath.job.text.resolved import resolved_dict
from corepath.planning.folder.held_deck import seal
from corepath.planning.plan import plan
from corepath.planning.prepare import Prepared, prepare
from corepath.planning.proving.proof import Proof, prove
from corepath.planning.report.checks_report import lists_of
from corepath.planning.report.full_report import full_report, results_of
from corepath.planning.report.geometry import geometry_dict
from corepath.stackup.odds.outcome import Outcome as Verdict
from corepath.stackup.odds.outcome import outcome_of
from tests.population.drawing import Drawn
from tests.population.stranger import breaches

__all__ = ["OUTCOMES", "Outcome", "judge", "write_job"]

_Planning = Callable[[Prepared, Path], tuple[bool, dict[str, int], str]]

OUTCOMES = ("input", "check", "withheld", "cut", "planned", "passed")
"""Refused as input; failed by check; passed check but no plan; planned but refused by the
independent cut; planned; passed check in a run that plans nothing."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one job. `kinds` are faults' keys, ids of checks, kinds of findings, or none;
    `first` the first in words; `verdicts` each check's verdict (the worst of those of one id)."""

    seed: int
    index: int
    outcome: str
    kinds: dict[str, int]
    first: str
    seconds: float
    traits: dict[str, Any] = field(default_factory=dict)
    verdicts: dict[str, str] = field(default_factory=dict)

    def line(self) -> str:
        return json.dumps(asdict(self), ensure_ascii=False)

    @classmethod
    def of(cls, line: str) -> Outcome:
        return cls(**json.loads(line))


def judge(
    drawn: Drawn,
    folder: Path,
    whole: bool = False,
    check_only: bool = False,
    advised: bool = True,
) -> Outcome:
    """Plan the job in `folder` and hold what is written against the drawn figures; or only check
    it.

    Checks, files, read-back and exit status are those of `corepath plan`; drawings, sheet, preview
    and maps are left out unless `whole`. Where not all is OK, fixes are looked for too, for the
    report, but not unless `advised`.
    """
    start = _spent()
    planned = None if check_only else partial(_planned, whole=whole, advised=advised)
    outcome, kinds, first, verdicts = _judged(drawn, folder, planned)
    seconds = round(_spent() - start, 1)
    return Outcome(drawn.seed, drawn.index, outcome, kinds, first, seconds, drawn.traits, verdicts)


def write_job(drawn: Drawn, folder: Path) -> Path:
    """The job and its files in a folder; gives the job's path."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(drawn.text, "utf-8")
    for name, data in drawn.files.items():
        (folder / name).write_bytes(data)
    return folder / "job.toml"


def _judged(
    drawn: Drawn, folder: Path, planned: _Planning | None
) -> tuple[str, dict[str, int], str, dict[str, str]]:
    path = write_job(drawn, folder)
    verdicts: dict[str, str] = {}
    try:
        prepared = prepare(path)
        verdicts = _verdicts(prepared)
        if prepared.failed:
            failed = [check for check in prepared.checks if check.verdict == "fail"]
            return (
                "check",
                dict(Counter(check.id for check in failed)),
                _of_checks(failed),
                verdicts,
            )
        if planned is None:
            return "passed", {}, "", verdicts
        failed, kinds, first = planned(prepared, folder / "plan")
    except InputError as error:
        faults = {fault.key.split(".")[-1] or "file": 1 for fault in error.faults}
        return ("withheld" if verdicts else "input"), faults, str(error.faults[0]), verdicts
    except CorepathError as error:
        return ("withheld" if verdicts else "input"), {"no path": 1}, str(error), verdicts
    except Exception as error:
        trace = traceback.format_exc().splitlines()[-3:]
        return "withheld", {f"crash {type(error).__name__}": 1}, " | ".join(trace), verdicts
    if failed:
        return "withheld", kinds, first, verdicts
    found = breaches(drawn, folder / "plan")
    if found:
        return (
            "cut",
            {found[0].split(":")[0].replace("BREACH ", ""): len(found)},
            found[0],
            verdicts,
        )
    return "planned", {}, "", verdicts


def _verdicts(prepared: Prepared) -> dict[str, str]:
    found: dict[str, str] = {}
    for check in prepared.checks:
        found[check.id] = max(
            found.get(check.id, "ok"), check.verdict, key=("ok", "caution", "fail").index
        )
    return found


def _planned(
    prepared: Prepared, folder: Path, *, whole: bool, advised: bool
) -> tuple[bool, dict[str, int], str]:
    """Whether it failed, by what, and the first in words; the folder as far as the independent cut
    reads it."""
    folder.mkdir(parents=True, exist_ok=True)
    if whole:
        made = plan(prepared)
        made.write(folder)
        return made.failed, *_why(Proof(made.prepared, made.made, made.readback))
    proof = prove(prepared)
    if not proof.failed:
        _write(proof, folder, advised)
    return proof.failed, *_why(proof)


def _why(proof: Proof) -> tuple[dict[str, int], str]:
    failed = [check for check in proof.prepared.checks if check.verdict == "fail"]
    assert proof.readback is not None
    kinds = {**Counter(f"check {check.id}" for check in failed), **proof.readback.findings.by_kind}
    first = (
        _of_check(failed[0]) if failed else next((str(one) for one in proof.readback.findings), "")
    )
    return dict(kinds), first


def _verdict(prepared: Prepared) -> Verdict:
    """The verdict on the whole job, without fixes."""
    return outcome_of(prepared.checks, prepared.stackup, prepared.board, prepared.odds)


def _write(proof: Proof, folder: Path, advised: bool) -> None:
    """As `corepath plan` writes them: the programs, and what docs/verify.py reads."""
    prepared = proof.prepared
    for one in (*proof.made, *proof.walks):
        (folder / one.name).parent.mkdir(exist_ok=True)
        (folder / one.name).write_text(one.text, "ascii", newline="\n")
    lists = None if advised else lists_of(prepared, _verdict(prepared))
    report = full_report(proof, results_of(proof, lists=lists))
    held = {**prepared.known.as_dict(), **seal(prepared.board.deck, prepared.job)}
    for name, content in (
        ("report", report),
        ("geometry", geometry_dict(prepared)),
        ("job.resolved", {**resolved_dict(prepared.resolved), **held}),
    ):
        (folder / f"{name}.json").write_text(json.dumps(content), "utf-8")


def _of_check(check: Any) -> str:
    return f"{check.id}: {check.message} ({check.where})"


def _of_checks(failed: list[Any]) -> str:
    """Each check that failed, with what it says is the fix."""
    return " | ".join(f"{_of_check(check)}; fix: {check.fix}" for check in failed)


def _spent() -> float:
    """CPU seconds of this process and of those it started and awaited."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime
