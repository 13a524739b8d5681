"""`python -m tests.fuzz --minutes 10`: changed files of every kind, for as long as wanted; troubles
are kept.

The read-back of whole folders takes part where a plan of the coupon lies in `coupon-plan/`
(`corepath plan samples/coupon.toml`). Each worker runs under a limit of address space; one that
hangs or dies is started again with the next case. Ends with 1 where there was any trouble.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

from tests.fuzz.loop import Tally, Trouble, case_of, run_case
from tests.fuzz.targets import TARGETS

ADDRESS_SPACE = 12 << 30
QUICK_PER_SLOW = 60


def main() -> int:
    options = _options()
    if options.worker:
        return _work(options)
    options.keep.mkdir(parents=True, exist_ok=True)
    end = time.monotonic() + 60 * options.minutes
    first, died = options.seed, 0
    ends: Counter[str] = Counter()
    longest: dict[str, float] = {}
    while time.monotonic() < end:
        left = (end - time.monotonic()) / 60
        words = [
            "--worker",
            "--minutes",
            f"{left:.3f}",
            "--seed",
            str(first),
            "--keep",
            str(options.keep),
        ]
        words += ["--only", *options.only] if options.only else []
        child = subprocess.run([sys.executable, "-m", "tests.fuzz", *words], check=False)
        told = json.loads((options.keep / "tally.json").read_text())
        ends.update(told["ends"])
        for name, seconds in told["longest"].items():
            longest[name] = max(longest.get(name, 0.0), seconds)
        first = told["seed"] + 1
        if child.returncode not in (0, 1):
            died += 1
            (options.keep / "current").rename(options.keep / f"died-{first - 1}")
    for name in sorted({key.partition("/")[0] for key in ends}):
        answer, error = ends[f"{name}/answer"], ends[f"{name}/error"]
        print(
            f"{name:24} {answer + error:7} cases  {answer:7} answers  {error:7} errors  "
            f"{longest[name]:6.2f} s longest"
        )
    kept = sorted(path.name for path in options.keep.glob("trouble-*.txt"))
    print(
        f"{sum(ends.values())} cases, {len(kept)} troubles, {died} workers died; kept in "
        f"{options.keep}"
    )
    return 1 if kept or died else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=Path("fuzz-troubles"))
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--worker", action="store_true", help=argparse.SUPPRESS)
    return parser.parse_args()


def _work(options: argparse.Namespace) -> int:
    os.nice(10)
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE, ADDRESS_SPACE))
    targets = [
        one for one in TARGETS if one.seeds() and (not options.only or one.name in options.only)
    ]
    tally, seed, troubles = Tally(), options.seed, 0
    for target in targets:  # loops are compiled once, which is no part of a case's time
        run_case(target, 0, target.seeds()[0], Tally())
    end = time.monotonic() + 60 * options.minutes
    while time.monotonic() < end:
        for target in targets:
            if target.slow and seed % QUICK_PER_SLOW and not options.only:
                continue
            data = case_of(target, seed)
            (options.keep / "current").write_bytes(f"{target.name} {seed}\n".encode() + data)
            _tell(options.keep, tally, seed)
            trouble = run_case(target, seed, data, tally, hang=120.0)
            if trouble is not None:
                troubles += 1
                _keep(trouble, options.keep)
        seed += 1
    _tell(options.keep, tally, seed)
    return 1 if troubles else 0


def _tell(keep: Path, tally: Tally, seed: int) -> None:
    ends = {"/".join(key): count for key, count in tally.ends.items()}
    (keep / "tally.json").write_text(
        json.dumps({"ends": ends, "longest": tally.longest, "seed": seed})
    )


def _keep(trouble: Trouble, keep: Path) -> None:
    stem = f"trouble-{trouble.target.replace(':', '-')}-{trouble.seed}"
    (keep / f"{stem}.bin").write_bytes(trouble.data)
    (keep / f"{stem}.txt").write_text(trouble.message, encoding="utf-8")
    print(f"{stem}: {(trouble.message.strip().splitlines() or [''])[-1][:160]}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
