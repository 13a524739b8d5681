"""A pass of the skim is named by its height above the bed in B; its number is that in the name of a
file."""

from __future__ import annotations

from collections.abc import Mapping

from corepath.lengths import MM_PER_INCH, units_of

__all__ = ["is_run", "minutes_to_stop", "pass_height", "typed_within"]


def is_run(stem: str, stop: int) -> bool:
    """Returns whether a file is run where the skim stops after pass number `stop`, pass by pass;
    `stem` is its name without the ending.

    >>> [is_run(stem, 3) for stem in ("05-B-skim-pass-3", "05-B-skim-pass-4", "07-C-deck")]
    [True, False, True]
    """
    # `05-B-skim-all` is run instead of the passes, and would count the same minutes twice.
    if "-B-skim-" not in stem:
        return True
    number = stem.rpartition("-")[2]
    return number.isdigit() and int(number) <= stop


def minutes_to_stop(minutes: Mapping[str, float], stop: int) -> float:
    """Returns the sum of the minutes of the files (by stem) that `is_run` names."""
    return sum(value for stem, value in minutes.items() if is_run(stem, stop))


def typed_within(units: str) -> float:
    """Returns how far a height may be typed beside that of its pass, mm: half of 0.01 mm, or half
    of 0.001 inch, in jobs of these `units`."""
    # 0.51 and not 0.5: a height that was rounded by just half a step must not fail by its last bit
    return 0.51 * (0.001 * MM_PER_INCH if units == "inch" else 0.01)


def pass_height(plane: float, units: str = "mm") -> str:
    """Returns the height `plane` (mm) of a pass as it is printed, in the units of the job, without
    their name.

    >>> pass_height(9.9), pass_height(9.9, "inch")
    ('9.90', '0.3898')
    """
    return units_of(units).figure(plane, ".2f")
