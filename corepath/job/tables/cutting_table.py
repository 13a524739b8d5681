"""The built-in table of how wood is cut: chip loads, spindle speeds and the energy of cutting.

Diameters and chips in mm, densities in kg/m³ at 12 % moisture content, speeds of the edge in m/min,
energy in J/cm³ (which is N/mm²). All of it is common practice without a source, good to a factor of
two; the job's figures win.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import Any, Literal

from corepath.job.tables.builtin import Figure
from corepath.reported import Key, report_keys

__all__ = [
    "Energy", "Kind", "chip_from_table", "cutting_energy", "fastest_rim", "kind_of_wood",
    "speed_from_table",
]  # fmt: skip

Kind = Literal["soft", "medium", "hard"]
_KINDS: tuple[Kind, ...] = ("soft", "medium", "hard")


@report_keys(Key("low", places=1), Key("likely", places=1), Key("high", places=1), "source")
@dataclass(frozen=True, slots=True)
class Energy:
    """The energy of cutting 1 cm³, J: the likely figure, and the range to expect the true one
    in."""

    low: float
    likely: float
    high: float
    source: str


@cache
def _table() -> dict[str, dict[str, Any]]:
    text = (
        resources.files("corepath.job").joinpath("data", "cutting.toml").read_text(encoding="utf-8")
    )
    return tomllib.loads(text)


def kind_of_wood(density: float) -> Kind:
    """Return whether wood of this density, kg/m³, is soft, medium or hard to cut."""
    bounds: list[float] = _table()["kinds"]["bounds"]
    return _KINDS[sum(density > bound for bound in bounds)]


def chip_from_table(
    diameter: float, density: float, *, resin: bool = False, laminate: bool = False
) -> Figure:
    """Return the chip load in mm a tooth, with its source, for a cutter of `diameter` mm.

    In wood of `density` kg/m³ or, if set, in cast resin or glass laminate.
    """
    table, kinds, rows = _table(), _table()["kinds"], _table()["chip_load"]
    softwood = _between(diameter, rows["diameter"], rows["low"])
    if laminate:
        row = table["laminate"]
        return Figure(
            round(softwood * row["chip_share"], 4), f"table, glass laminate ({row['source']})"
        )
    if resin:
        return Figure(
            round(softwood * table["resin"]["chip_share"], 4),
            f"table, cast resin ({rows['source']})",
        )
    kind = kind_of_wood(density)
    share = kinds["chip_share"][_KINDS.index(kind)]
    return Figure(round(softwood * share, 4), f"table, {kind} wood ({rows['source']})")


def fastest_rim(material: str, *, laminate: bool = False) -> Figure:
    """Return the largest cutting speed at the rim, m/min, with its source.

    In cast resin or, with `laminate`, in glass laminate; `material` is the cutter's.
    """
    table = _table()
    if laminate:
        return Figure(
            table["laminate"]["speed"], f"table, glass laminate ({table['laminate']['source']})"
        )
    return Figure(table["resin"][_key(material)], f"table, cast resin ({table['resin']['source']})")


def speed_from_table(
    diameter: float,
    material: str,
    rpm_range: tuple[float, float],
    *,
    resin: bool = False,
    laminate: bool = False,
    own: float | None = None,
) -> Figure:
    """Return the spindle speed in turns a minute, with its source, rounded down to full hundreds.

    `diameter` in mm, `material` of the cutter, `rpm_range` of the spindle. `own` is the speed that
    the job gives for the cutter. It is used as it is, except in `laminate`, where the table limits
    the speed of the rim, since a router's usual speed is meant for wood.
    """
    row = _table()["spindle"]
    least, most = row[_key(material)]
    source = f"table ({row['source']})"
    if resin or laminate:
        limit = fastest_rim(material, laminate=laminate)
        most = min(most, limit.value)
        least = min(least, most)
        source = limit.source if laminate else source
    top = 1000.0 * most / (math.pi * diameter)
    if own is not None and (not laminate or own <= top):
        return Figure(own, "job")
    turns = min(
        max(row["usual"], 1000.0 * least / (math.pi * diameter)) if own is None else own, top
    )
    # A spindle that cannot run as slowly as the table wants runs at its slowest.
    slowest, fastest = sorted(rpm_range)
    return Figure(min(max(100.0 * math.floor(turns / 100.0), slowest), fastest), source)


def _key(material: str) -> str:
    return "high-speed-steel" if material == "high-speed steel" else "carbide"


def cutting_energy(density: float) -> Energy:
    """Return the energy of cutting wood of `density` kg/m³, in proportion to the density."""
    row = _table()["energy"]
    likely = row["value"] * density / row["density"]
    return Energy(likely / row["factor"], likely, likely * row["factor"], row["source"])


def _between(at: float, places: list[float], values: list[float]) -> float:
    # Linear between the rows; below the first in proportion to the diameter, above the last as the
    # last.
    if at <= places[0]:
        return values[0] * at / places[0]
    for (a, b), (u, v) in zip(pairwise(places), pairwise(values), strict=True):
        if at <= b:
            return u + (v - u) * (at - a) / (b - a)
    return values[-1]
