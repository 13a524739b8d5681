"""A pass of the skim is named by its height above the bed in B; its number is that in the name of a file."""

from __future__ import annotations

__all__ = ["pass_height", "printed_step"]

_INCH = 25.4


def printed_step(units: str) -> float:
    """One unit in the last place of a pass's name, in mm: 0.01 mm, or 0.001 inch."""
    return 0.001 * _INCH if units == "inch" else 0.01


def pass_height(plane: float, units: str = "mm") -> str:
    """The height `plane` (mm) of a pass as it is printed and typed, in the units of the job, without their name.

    >>> pass_height(9.9), pass_height(9.9, "inch")
    ('9.90', '0.390')
    """
    return f"{plane / _INCH:.3f}" if units == "inch" else f"{plane:.2f}"
