"""A pass of the skim is named by its height above the bed in B; its number is that in the name of a
file."""

from __future__ import annotations

from corepath.lengths import MM_PER_INCH, units_of

__all__ = ["pass_height", "typed_within"]


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
