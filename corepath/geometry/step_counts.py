"""How many equal steps a length takes."""

from __future__ import annotations

import math

__all__ = ["fewest_steps"]

# Share of a step. A length of exactly n steps comes out of its subtraction and division as n give
# or take some 1e-15; without this it would now and then take n + 1 steps. At a hundred times this
# a step would still be too long by less than the rounding of the text.
_ROUNDING = 1e-9


def fewest_steps(length: float, most: float) -> int:
    """Return the least number of equal steps, none longer than `most`, that make up `length` (both
    in one unit, `most` > 0); 0 or less for a length of 0 or less."""
    return math.ceil(length / most - _ROUNDING)
