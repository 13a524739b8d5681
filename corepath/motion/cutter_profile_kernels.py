"""The profile of a cutter's end for compiled loops: `corepath.motion.cutter_profile` compiled."""

from __future__ import annotations

from corepath.motion import cutter_profile as plain
from corepath.motion.compiled import njit

__all__ = ["height", "widest"]

height = njit(inline="always")(plain.height)
widest = njit(inline="always")(plain.widest)
