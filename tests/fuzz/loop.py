"""One case after another: bytes in, an answer or a CorepathError out, in bounded time and memory;
else a trouble."""

from __future__ import annotations

import faulthandler
import random
import resource
import shutil
import tempfile
import time
import traceback
import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from corepath.errors import CorepathError
from tests.fuzz.mutate import mutated
from tests.fuzz.targets import Target

__all__ = ["MEMORY", "SECONDS", "Tally", "Trouble", "case_of", "run_case"]

SECONDS = 20.0
"""s of the processor that a case may take."""

MEMORY = 1 << 30
"""bytes by which a case may let the process grow."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """A case that did not end as it should: target, seed of the case, what happened, and the
    bytes."""

    target: str
    seed: int
    message: str
    data: bytes


@dataclass(slots=True)
class Tally:
    """Cases by target and end: `answer` or `error`; the longest case in seconds."""

    ends: Counter[tuple[str, str]] = field(default_factory=Counter)
    longest: dict[str, float] = field(default_factory=dict)


def case_of(target: Target, seed: int) -> bytes:
    """The bytes of a case: the same for the same seed."""
    rng = random.Random(f"{target.name}/{seed}")
    seeds = target.seeds()
    return mutated(rng.choice(seeds), rng, seeds)


def run_case(
    target: Target, seed: int, data: bytes, tally: Tally, hang: float | None = None
) -> Trouble | None:
    """Run one case; a hang of more than `hang` seconds ends the process with a traceback."""
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.process_time()
    if hang is not None:
        faulthandler.dump_traceback_later(hang, exit=True)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            target.run(data, folder)
        end = "answer"
    except CorepathError as error:
        end = "error"
        if not str(error).strip():
            return Trouble(target.name, seed, "an error without words", data)
    except Exception:
        return Trouble(target.name, seed, traceback.format_exc(limit=-6), data)
    finally:
        if hang is not None:
            faulthandler.cancel_dump_traceback_later()
        shutil.rmtree(folder, ignore_errors=True)
    spent = time.process_time() - start
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak) * 1024
    tally.ends[target.name, end] += 1
    tally.longest[target.name] = max(tally.longest.get(target.name, 0.0), spent)
    if spent > SECONDS:
        return Trouble(target.name, seed, f"took {spent:.1f} s of the processor", data)
    if grown > MEMORY:
        return Trouble(target.name, seed, f"grew by {grown / 2**20:.0f} MiB", data)
    return None
