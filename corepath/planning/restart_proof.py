"""A restart read back: from its plunge on it must do what the file does, and come to it safely. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from corepath.readback.program import ReadProgram

__all__ = ["HARMLESS", "differs"]

HARMLESS = frozenset({"block-delete", "after-end", "missing-end"})
"""Findings that neither keep a file from being restarted nor a restart from being used."""

_SAME = 2e-4
"""mm (and mm/min): how far a motion may be from that of the file; places are written as the file writes them."""


def differs(file: ReadProgram, index: int, made: ReadProgram, clear: float) -> Iterator[str]:
    """What is wrong with a restart, against the motions of the file from `index` on."""
    for finding in made.findings:
        if finding.kind not in HARMLESS:
            yield str(finding)
    count = file.count - index
    if made.count < count:
        yield f"{made.count} motions, where the file has {count} from there on"
        return
    begin = made.count - count
    old, new = slice(index, None), slice(begin, None)
    cuts = file.kind[old] > 0
    if not np.array_equal(file.kind[old], made.kind[new]):
        yield "its motions are not of the kinds that the file has"
        return
    for name, here, there in (
        ("ends", file.end[old], made.end[new]),
        ("starts", file.start[old][cuts], made.start[new][cuts]),
        ("centres", file.centre[old], made.centre[new]),
        ("feeds", file.feed[old][cuts][:, None], made.feed[new][cuts][:, None]),
    ):
        apart = np.abs(here - there)
        if not np.array_equal(np.isnan(here), np.isnan(there)) or np.nanmax(apart, initial=0.0) > _SAME:
            yield f"its {name} are not those of the file"
    if not np.array_equal(file.spindle_on[old], made.spindle_on[new]):
        yield "the spindle does not turn where it does in the file"
    lead = made.end[:begin]
    rapids = made.kind[:begin] == 0
    if (lead[rapids, 2] < clear - _SAME).any():
        yield "a rapid of the approach comes below the safe height"
    still = ~made.spindle_on[:begin]
    if (~rapids & ~still).sum() > 1 or (lead[~rapids & still, 2] < clear - _SAME).any():
        yield "the approach cuts otherwise than by one plunge with the spindle turning"
