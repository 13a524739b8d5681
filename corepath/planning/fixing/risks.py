"""What a person must know before taking a fix, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from corepath.job.model import GrooveSection, HoldSection
from corepath.lengths import mm
from corepath.planning.prepare import Prepared
from corepath.stackup import Check
from corepath.stackup.advice.fix import Value
from corepath.stackup.skim import TIE

__all__ = ["lowers_a_limit", "risks_of"]

_LEAST_FLOOR = GrooveSection.model_fields["least_floor"].default
_LEAST_HEIGHT = HoldSection.model_fields["least_height"].default
_SURER = {
    "tolerances.flat": "the blank must lie within {} of flat as held",
    "tolerances.touch": "Z must be touched off within {}",
    "tolerances.bed": "the bed must be faced within {}",
    "tolerances.thickness": "each figure of the blank must be right within {}",
}


def lowers_a_limit(values: Mapping[str, Value]) -> bool:
    """Returns whether these values leave less wood, resin or clean-up than the job asked for."""
    limits = ("groove.least_floor", "hold.least_height")
    return any(key in values for key in limits) or values.get("deck.clean_up") == 0.0


def risks_of(values: Mapping[str, Value], made: Prepared) -> tuple[str, ...]:
    """Returns the risks of a job `made` with these values, worst cases in mm."""
    return tuple(_risks(values, made))


def _risks(values: Mapping[str, Value], made: Prepared) -> Iterator[str]:
    wood, clear = _worst(made, "floor"), _worst(made, "clean-up")
    if wood < _LEAST_FLOOR - TIE and {"groove.floor", "groove.least_floor"} & set(values):
        yield f"wood under the groove may be {mm(wood):.2f} thin, tape it: it may leak"
    if values.get("deck.clean_up") == 0.0 and clear < -TIE:
        yield f"raw top may stay, by up to {mm(-clear):.2f}: plane the blank flat first"
    held = _worst(made, "hold")
    if held < _LEAST_HEIGHT - TIE and "hold.least_height" in values:
        yield f"only {mm(held):.2f} of resin may join board and rim: hold each on its own"
    yield from _of_dowels(values)
    for key, value in values.items():
        if key.endswith(".through"):
            yield f"the bores of {key.partition('.')[0]} enter the spoil board and let vacuum leak"
        elif key in _SURER:
            yield _SURER[key].format(f"{mm(value):.2n}")


def _of_dowels(values: Mapping[str, Value]) -> Iterator[str]:
    stands = [(key.partition(".")[0], value) for key, value in values.items() if "].stand" in key]
    if stands:
        names, least = " and ".join(name for name, _ in stands), min(value for _, value in stands)
        verb = "stands" if len(stands) == 1 else "stand"
        yield f"{names} {verb} only {mm(least):.2n} above the bed: seat the blank firmly"


def _worst(made: Prepared, check_id: str) -> float:
    checks: Iterator[Check] = (check for check in made.checks if check.id == check_id)
    # none is left of what is cut already: nothing can be at risk there
    return min((check.worst for check in checks), default=math.inf)
