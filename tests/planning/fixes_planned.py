"""Plans each drawn pair of blank and core with its first fix and reads it back: slow, never part of
the tests. `python -m tests.planning.fixes_planned [FIRST [COUNT]]`."""

from __future__ import annotations

import sys

from corepath.job.load import load_job
from corepath.planning.fixing.changed_values import changed_job
from corepath.planning.fixing.search import find_fixes
from corepath.planning.plan import plan
from corepath.planning.prepare import prepare_job
from tests.planning.test_fixes import SAMPLES, drawn_pairs, paired


def main() -> int:
    """Returns how many jobs did not plan."""
    first, count = (*map(int, sys.argv[1:]), *(0, 99)[len(sys.argv) - 1 :])[:2]
    wrong = 0
    for pair in drawn_pairs()[first : first + count]:
        job = paired(load_job(SAMPLES / "coupon.toml"), *pair)
        fixes = [fix for fix in find_fixes(prepare_job(job, SAMPLES)).found if fix.settings]
        for fix in fixes[:1]:
            made = plan(prepare_job(changed_job(job, fix.values), SAMPLES))
            wrong += made.failed
            print(pair, fix.message, "FAILED" if made.failed else "planned", flush=True)
            for finding in made.findings:
                print("   ", finding)
    return wrong


if __name__ == "__main__":
    sys.exit(main())
