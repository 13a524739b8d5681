"""The whole bench: `python -m tests.faults [faults a rule] [seed ...]` prints tables by rule and by finding.

Takes some minutes. pytest runs a sample of it.
"""

from __future__ import annotations

import sys
import time
from collections import Counter, defaultdict

from tests.faults.bench import Bench, Verdict
from tests.faults.rules import DESIGN_RULES, FILE_RULES, RULES, WORD_RULES

TRIES = 8


def main() -> None:
    each = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    seeds = [int(word) for word in sys.argv[2:]] or [1]
    bench = Bench()
    good = bench.found(bench.texts, "08-C-deck.nc")
    print(f"good program: {', '.join(good) or 'no findings'}")
    begun = time.process_time()
    verdicts: dict[str, list[Verdict]] = defaultdict(list)
    for seed in seeds:
        for rule in (*RULES, *WORD_RULES, *FILE_RULES, *DESIGN_RULES):
            done = tried = 0
            while done < each and tried < TRIES * each:
                fault = bench.draw(rule, 1000 * seed + tried)
                tried += 1
                if fault is None:
                    continue
                done += 1
                verdicts[rule].append(bench.judge(fault))
                if verdicts[rule][-1].missed:
                    print(f"MISSED {rule}: {fault.file} seed {fault.seed}: {verdicts[rule][-1].must}", flush=True)
    print(f"\n{'rule':24}{'faults':>8}{'must':>6}{'found':>7}{'missed':>8}{'harmless, found too':>21}")
    for rule, some in verdicts.items():
        must = [one for one in some if one.must]
        print(
            f"{rule:24}{len(some):8}{len(must):6}{sum(bool(one.kinds) for one in must):7}"
            f"{sum(one.missed for one in some):8}{sum(bool(one.kinds) and not one.must for one in some):21}"
        )
    every = [one for some in verdicts.values() for one in some]
    kinds = Counter(kind for one in every if one.must for kind in one.kinds)
    alone = Counter(one.kinds[0] for one in every if one.must and len(one.kinds) == 1)
    print(f"\n{'finding':28}{'faults told by it':>18}{'by it alone':>13}")
    for kind, count in kinds.most_common():
        print(f"{kind:28}{count:18}{alone[kind]:13}")
    must = sum(bool(one.must) for one in every)
    print(
        f"\n{len(every)} faults of {len(verdicts)} rules, seeds {seeds}: {must} must be found, "
        f"{sum(one.missed for one in every)} missed; {time.process_time() - begun:.0f} CPU s"
    )


if __name__ == "__main__":
    main()
