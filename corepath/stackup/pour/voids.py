"""What a void or a leak in a casting asks for, by how far the work has come."""

from __future__ import annotations

from collections.abc import Iterator

from corepath.job.record.settled import Settled

__all__ = ["resin_cautions"]

_BEFORE = ("A", "cast")


def resin_cautions(settled: Settled, file: str) -> tuple[str, ...]:
    """Return a caution for each casting whose void or leak was not filled since, with what to do
    now; `file` is the name of the job, for commands to type."""
    return tuple(_cautions(settled, file))


def _cautions(settled: Settled, file: str) -> Iterator[str]:
    for name in settled.voids:
        then = f"record it: --top-up {name} GRAMS"
        if settled.stage not in _BEFORE:
            yield (
                f"{name} has a void: drill it open to sound resin, fill it proud, scrape it flush, "
                f"{then}. No bolt through it, and no lay-up over it, before"
            )
            continue
        again = (
            f", or cut it out again (corepath recut {file} --plug {name} --depth D) and pour anew"
            if name != "groove"
            else ""
        )
        yield f"{name} has a void: open it to sound resin and fill it{again}; {then}"
    for name in settled.leaks:
        yield (
            f"{name} leaked: seal it from below with tape or wax, measure its fill, top it up "
            f"where that is low, and record it: --top-up {name} GRAMS"
        )
