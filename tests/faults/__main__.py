"""The whole bench: `python -m tests.faults [--write] [--only REGEX] [faults a rule] [seed ...]`
prints tables by rule and by finding.

Takes minutes: some seconds for each fault of an operation's file. `--write` puts the table into
`docs/readback.md`. pytest runs a sample of it.
"""

from __future__ import annotations

import argparse
import re
import time
from collections import Counter, defaultdict

from tests.faults.bench import EVERY_RULE, Bench, Verdict
from tests.faults.table import PAGE, Row, rows_in, write

TRIES = 8


def main() -> None:
    asked = argparse.ArgumentParser(
        prog="python -m tests.faults", description="Plant faults and count what is found."
    )
    asked.add_argument(
        "each", nargs="?", type=int, default=10, help="faults of each rule and seed (10)"
    )
    asked.add_argument(
        "seeds", nargs="*", type=int, default=[1], help="seeds that they are drawn from (1)"
    )
    asked.add_argument("--write", action="store_true", help="write the table into docs/readback.md")
    asked.add_argument(
        "--only",
        metavar="REGEX",
        default="",
        help="rules whose name holds this; others keep their row",
    )
    options = asked.parse_args()
    bench = Bench()
    good = bench.found(bench.texts, "08-C-deck.nc")
    print(f"good program: {', '.join(good) or 'no findings'}", flush=True)
    begun = time.process_time()
    verdicts: dict[str, list[Verdict]] = defaultdict(list)
    for rule in (one for one in EVERY_RULE if re.search(options.only, one)):
        for seed in options.seeds:
            verdicts[rule] += drawn(bench, rule, seed, options.each)
    rows = [Row.of(rule, some) for rule, some in verdicts.items()]
    print(
        f"\n{'rule':34}{'faults':>8}{'must':>6}{'found':>7}{'missed':>8}{'harmless, found too':>21}"
    )
    for row in rows:
        print(
            f"{row.rule:34}{row.faults:8}{row.must:6}{row.found:7}"
            f"{row.must - row.found:8}{row.besides:21}"
        )
    _print_kinds([one for some in verdicts.values() for one in some])
    total = Row.total(rows)
    print(
        f"\n{total.faults} faults of {len(rows)} rules, seeds {options.seeds}: {total.must} must "
        "be found, "
        f"{total.must - total.found} missed; {time.process_time() - begun:.0f} CPU s"
    )
    if options.write:
        kept = (
            {row.rule: row for row in rows_in(PAGE.read_text(encoding="utf-8"))}
            if options.only
            else {}
        )
        kept |= {row.rule: row for row in rows}
        write([kept[rule] for rule in EVERY_RULE if rule in kept], options.seeds)


def drawn(bench: Bench, rule: str, seed: int, each: int) -> list[Verdict]:
    """Verdicts on up to `each` faults of a rule; a miss is told at once."""
    verdicts: list[Verdict] = []
    for tried in range(TRIES * each):
        if len(verdicts) == each:
            break
        fault = bench.draw(rule, 1000 * seed + tried)
        if fault is None:
            continue
        verdicts.append(bench.judge(fault))
        if verdicts[-1].missed:
            print(f"MISSED {rule}: {fault.file} seed {fault.seed}: {verdicts[-1].must}", flush=True)
    return verdicts


def _print_kinds(every: list[Verdict]) -> None:
    kinds = Counter(kind for one in every if one.must for kind in one.kinds)
    alone = Counter(one.kinds[0] for one in every if one.must and len(one.kinds) == 1)
    print(f"\n{'finding':28}{'faults told by it':>18}{'by it alone':>13}")
    for kind, count in kinds.most_common():
        print(f"{kind:28}{count:18}{alone[kind]:13}")


if __name__ == "__main__":
    main()
