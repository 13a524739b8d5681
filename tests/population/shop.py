"""Machines and sets of cutters, in mm or in the sizes of an inch shop. Diameters from 4 (3/16 in)
to 50 (2 in)."""

from __future__ import annotations

from typing import Any

from tests.population.chance import Chance
from tests.population.toml_text import INCH, Mm

__all__ = ["SETS", "draw_cutters", "draw_machine", "widest"]

SETS: dict[str, tuple[tuple[str, tuple[float, ...], tuple[float, ...]], ...]] = {
    # shape, diameters in mm, diameters of an inch shop in inches
    "two": (("flat", (4.0,), (0.1875,)), ("flat", (8.0,), (0.3125,))),
    "plain": (
        ("flat", (4.0, 5.0), (0.1875,)), ("flat", (6.0, 8.0), (0.25, 0.3125)),
        ("flat", (16.0, 20.0, 25.0), (0.75, 1.0)), ("ball", (10.0, 12.0, 16.0, 20.0), (0.375, 0.5,
        0.75)),
    ),
    "wide": (
        ("flat", (4.0,), (0.1875,)), ("flat", (6.0, 8.0, 10.0), (0.25, 0.375)),
        ("flat", (32.0, 40.0, 50.0), (1.25, 1.5, 2.0)), ("ball", (12.0, 20.0, 25.0), (0.5, 0.75,
        1.0)),
    ),
    "bull": (
        ("flat", (4.0, 5.0), (0.1875,)), ("flat", (8.0,), (0.25, 0.3125)),
        ("bull", (10.0, 12.0, 16.0, 20.0), (0.375, 0.5, 0.75)), ("flat", (22.0, 32.0), (0.75,
        1.25)),
    ),
    "flats": (
        ("flat", (4.0,), (0.1875,)), ("flat", (6.0,), (0.25,)), ("flat", (12.0, 16.0), (0.5,)),
        ("flat", (20.0, 30.0), (0.75, 1.0)),
    ),
}  # fmt: skip
CHIP = ((4.5, 0.05, 0.08), (7.0, 0.08, 0.12), (9.0, 0.11, 0.16), (100.0, 0.13, 0.2))
"""Chip loads that shops give, mm a tooth, up to a diameter (common practice, no source)."""


def draw_cutters(
    chance: Chance, inch: bool, speeds: tuple[float, float]
) -> tuple[str, list[dict[str, Any]], float]:
    """The name of the set, the sections (a drill of the dowels' size in some), a size of dowel that
    they can bore."""
    name = chance.one_of(tuple(SETS))
    first = chance.one_of((1, 1, 11, 101))
    found = []
    for shape, metric, inches in SETS[name]:
        diameter = chance.one_of(inches) * INCH if inch else chance.one_of(metric)
        found.append(_cutter(chance, first + len(found), shape, diameter, speeds))
    narrow = min(float(one["diameter"]) for one in found if one["shape"] == "flat")
    sizes = (0.25 * INCH, 0.3125 * INCH) if inch else (5.0, 6.0, 8.0)
    dowel = chance.one_of([size for size in sizes if size > narrow + 0.5])
    if chance.yes(0.3):
        found.append(_drill(chance, first + len(found), dowel, speeds))
    return name, found, dowel


def _cutter(
    chance: Chance, number: int, shape: str, diameter: float, speeds: tuple[float, float]
) -> dict[str, Any]:
    if diameter < 5.9:
        cutting = chance.even(20.0, 25.0, 0.5)
    elif diameter < 15.0 or shape != "flat":
        cutting = chance.even(22.0, 32.0, 0.5)
    else:
        cutting = chance.even(16.0, 22.0, 0.5)
    section: dict[str, Any] = {"number": number, "shape": shape, "diameter": Mm(diameter)}
    if shape == "bull":
        section["corner_radius"] = Mm(chance.one_of((1.0, 1.5, 2.0, 3.0)))
    section |= {
        "flutes": 3 if diameter > 24.0 and chance.yes() else 2,
        "cutting_length": Mm(cutting),
        "stick_out": Mm(cutting + chance.even(6.0, 14.0, 0.5)),
    }
    if chance.yes(0.6):
        low, high = next((low, high) for upto, low, high in CHIP if diameter < upto)
        section["chip_load"] = Mm(chance.even(low, high, 0.01))
    if chance.yes(0.5):
        slow, fast = (
            max(10000.0, speeds[0]),
            min(24000.0 if diameter < 10.0 else 16000.0, speeds[1]),
        )
        section["rpm"] = int(chance.even(slow, fast, 500.0))
    if chance.yes(0.4):
        most = 6.0 if diameter > 12.0 else 0.6 * diameter
        section["depth_a_pass"] = Mm(chance.even(0.4 * min(diameter, 8.0), most, 0.1))
    if chance.yes(0.2):
        section["stepover"] = Mm(round(chance.even(0.3, 0.5, 0.01) * diameter, 1))
    for key, share, value in (
        ("ramp_angle", 0.3, chance.even(2.0, 5.0, 0.5)),
        ("plunge_share", 0.2, chance.even(0.25, 0.5, 0.05)),
        ("helix", 0.25, chance.one_of(("down", "straight"))),
        ("centre_cutting", 0.4, True),
        ("material", 0.1, "high-speed steel"),
    ):
        if chance.yes(share):
            section[key] = value
    return section


def _drill(
    chance: Chance, number: int, diameter: float, speeds: tuple[float, float]
) -> dict[str, Any]:
    cutting = chance.even(40.0, 55.0, 1.0)
    return {
        "number": number, "shape": "drill", "diameter": Mm(diameter), "flutes": 2,
        "cutting_length": Mm(cutting),
        "stick_out": Mm(cutting + 6.0), "chip_load": Mm(0.1), "rpm": int(max(speeds[0], 8000.0)),
    }  # fmt: skip


def widest(cutters: list[dict[str, Any]]) -> float:
    """The largest diameter that turns, mm."""
    return max(float(section["diameter"]) for section in cutters)


def draw_machine(
    chance: Chance, blank: tuple[float, float], reach: float, speeds: tuple[float, float]
) -> dict[str, Any]:
    """A machine that takes the blank and `reach` mm more on X and Y; zeros, flip and what the
    control can, evenly."""
    travel = next(
        (x, y) for x, y in ((700, 450), (900, 600), (1200, 800), (1500, 1000), (1700, 1200))
        if x >= blank[0] + reach and y >= blank[1] + reach
    )  # fmt: skip
    machine: dict[str, Any] = {
        "travel": [Mm(travel[0]), Mm(travel[1]), Mm(chance.one_of((110.0, 130.0, 150.0)))],
        "z_zero": chance.one_of(("bed", "face")),
        "xy_zero": chance.one_of(("middle", "front-left")),
        "flip_about": chance.one_of(("x", "y")),
        "safe_z": Mm(chance.even(5.0, 15.0, 0.5)),
        "arcs": chance.yes(),
        "exact_path": chance.yes(0.3),
        "canned_cycles": chance.yes(0.3),
        "tool_change": chance.weighed((("stop", 0.65), ("m6", 0.35))),
        "rapid": Mm(chance.even(3000.0, 12000.0, 100.0)),
        "accel": Mm(chance.even(250.0, 1500.0, 50.0)),
        "corner_deviation": Mm(chance.one_of((0.01, 0.02, 0.03))),
        "collet_diameter": Mm(chance.even(30.0, 45.0, 1.0)),
        "spindle_rpm": list(speeds),
    }
    if machine["tool_change"] == "m6":
        machine["length_offset"] = chance.yes()
    machine["second_zero"] = chance.weighed((("none", 0.6), ("G55", 0.4)))
    if chance.yes(0.3):
        machine["spindle_power"] = chance.one_of((800.0, 1500.0, 2200.0))
    return machine
