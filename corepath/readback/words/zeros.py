"""Derives the work zero of each file as the shop finds it: X and Y from the dowels, Z from bed or
face.

From the blank alone, never from the plan. Bed frame of the set-up, mm.
"""

from __future__ import annotations

from corepath.gcode.read.findings import Findings
from corepath.layup.laid import LaidUp
from corepath.lengths import mm
from corepath.readback.motion.first_way import Zeroed
from corepath.readback.simulation_setup import SimulationSetup
from corepath.readback.surfaces.laid_blank import zero_laid
from corepath.stock.material import NOWHERE, Stock
from corepath.work.works import Work

__all__ = ["check_zero", "derive_zero", "face_height", "lowered", "zeroed"]

Zero3 = tuple[float, float, float]


def face_height(stock: Stock, shop: SimulationSetup, setup: str) -> float:
    """Return the present height of the upper face at the place that is touched; that of the highest
    solid if there is a hole."""
    height = stock.height_at(*shop.touch(setup))
    return height if height > NOWHERE / 2.0 else stock.highest()


def derive_zero(work: Work, shop: SimulationSetup, face: float, now: float) -> Zero3:
    """Return the zero; `face` is the height touched when the set-up began, `now` the present one.

    Inserts are always zeroed on the skimmed face as it is now; everything else on the bed or on the
    face as it was when the set-up began.
    """
    if work.setup == "D" and shop.laid is not None:
        return zero_laid(shop, shop.laid)
    x, y = (0.0, 0.0) if shop.xy_zero == "middle" else (-shop.length / 2.0, -shop.width / 2.0)
    if work.name == "inserts":
        return x, y, now
    return x, y, 0.0 if shop.z_zero == "bed" else face


def zeroed(work: Work, shop: SimulationSetup, zero: Zero3) -> Zeroed:
    """Return what the zero of a work refers to, with its place and its coordinate system."""
    if work.name == "inserts":
        return Zeroed("the skimmed face", zero, 540 if shop.second_zero == "none" else 550)
    if work.setup == "D":
        return Zeroed("the cradle", zero, 540)
    return Zeroed("the bed" if shop.z_zero == "bed" else f"the face up in {work.setup}", zero, 540)


def lowered(old: Zeroed | None, laid: LaidUp) -> Zeroed | None:
    """Return the zero of C as it lies in the frame of D, whose Z = 0 is the form's lowest place."""
    if old is None or old.refers == "the cradle":
        return old
    x, y, z = old.place
    return old._replace(place=(x, y, z + laid.bed))


def check_zero(work: Work, zero: Zero3, allowed: float, findings: Findings) -> None:
    """Check the zero that the plan states against the derived one."""
    stated = (work.zero.x, work.zero.y, work.zero.z)
    for axis, planned, derived in zip("XYZ", stated, zero, strict=True):
        if abs(planned - derived) > allowed:
            says = (
                f"zero {axis} is {mm(planned):.3f} in the plan, {mm(derived):.3f} by the blank "
                "as it lies"
            )
            findings.add("zero", says, place=zero, depth=abs(planned - derived))
