"""Built-in tables of hardware, woods and resins, each figure with its source.

They are TOML files in `corepath/job/data`. Lengths in mm, densities of wood in kg/m³ (at 12 %
moisture) and of resin in g/cm³; movement of wood as a share of its size per % of moisture content.
Replace figures marked `from memory` or `common practice, no source` by measured ones.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, NamedTuple

from corepath.job.model import CastSection, InsertSection, Millimetres, ResinSection
from corepath.lengths import Said, mm

__all__ = [
    "HARDWARE_KEYS",
    "Clearance",
    "Figure",
    "Hardware",
    "Resin",
    "Wood",
    "hardware",
    "part_words",
    "resin_of",
    "resins",
    "threads",
    "woods",
]


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of a table, its source, and how far makers differ (± in the same unit)."""

    value: float
    source: str
    tolerance: float = 0.0


@dataclass(frozen=True, slots=True)
class Hardware:
    """A tee nut or flanged insert, mm; `length` is over all, the flange included."""

    name: str
    title: str
    thread: str
    barrel: Figure
    flange: Figure
    flange_thickness: Figure
    length: Figure
    prongs: Figure

    def keys(self) -> dict[str, Millimetres]:
        """Return the keys of `[[insert]]` that this row gives, as they would stand in a job."""
        return {key: Millimetres(getattr(self, key).value) for key in HARDWARE_KEYS}

    def message(self, insert: object) -> str:
        """Return in words which figures of an insert are from this row and must be measured; ""
        where none is."""
        used = [
            # 1e-9 mm: a figure that was given in inches is the same once converted.
            key
            for key, value in self.keys().items()
            if abs(getattr(insert, key) - value) < 1e-9
        ]
        if not used:
            return ""
        named = ", ".join(f"{key} {mm(getattr(self, key).value):g}" for key in used)
        return Said(
            f"{named}: from the table of {self.name}, not of your parts; measure yours and "
            "give the keys"
        )


class Clearance(NamedTuple):
    """A thread's nominal diameter and the clearance holes of its bolt, mm; the sources of both."""

    nominal: float
    fine: float
    medium: float
    coarse: float
    sources: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Wood:
    """A species of wood. `radial` and `tangential`: movement as a share of the size per % of
    moisture content, valid from 6 to 14 %."""

    name: str
    title: str
    density: Figure
    radial: Figure
    tangential: Figure

    def across(self, grain: str) -> float:
        """Return the movement of the width per % of moisture content: tangential if flat-sawn,
        radial if quarter-sawn."""
        return self.tangential.value if grain == "flat" else self.radial.value

    def through(self, grain: str) -> float:
        """Return the movement of the thickness per % of moisture content."""
        return self.radial.value if grain == "flat" else self.tangential.value


@dataclass(frozen=True, slots=True)
class Resin:
    """A kind of casting resin: densities of parts A and B in g/cm³, linear shrinkage as a share.

    `gel_loss` is the share of its depth that a casting sinks while the resin is still liquid.
    `pot_life` in minutes, `cup` the g mixed at once at most, `layer` the mm poured at once at most.
    """

    name: str
    title: str
    density: tuple[float, float]
    density_source: str
    shrinkage: Figure
    gel_loss: Figure
    pot_life: Figure
    cup: Figure
    layer: Figure
    cautions: tuple[str, ...]


HARDWARE_KEYS = ("barrel", "flange", "flange_thickness", "length", "prongs")
"""Keys of `[[insert]]` that a row of hardware gives."""


def _read(name: str) -> dict[str, dict[str, Any]]:
    text = resources.files("corepath.job").joinpath("data", name).read_text(encoding="utf-8")
    return tomllib.loads(text)


def _figure(entry: Mapping[str, Any]) -> Figure:
    return Figure(float(entry["value"]), str(entry["source"]), float(entry.get("tolerance", 0.0)))


@cache
def hardware() -> Mapping[str, Hardware]:
    """Return all hardware by name: the usual lengths in the order of the table, then the others."""
    rows = {name: row for name, row in _read("hardware.toml").items() if name != "thread"}
    found = {
        name: Hardware(
            name, row["title"], row["thread"], **{key: _figure(row[key]) for key in HARDWARE_KEYS}
        )
        for name, row in rows.items()
    }
    for name, row in rows.items():
        usual = found[name]
        for length in row.get("more_lengths", ()):
            other = f"{name}-{length:g}"
            found[other] = replace(
                usual, name=other, length=replace(usual.length, value=float(length))
            )
    return MappingProxyType(found)


@cache
def threads() -> Mapping[str, Clearance]:
    """Return all threads by name, in the order of the table of hardware, where they stand first."""
    found = {}
    for name, row in _read("hardware.toml")["thread"].items():
        nominal, holes = _figure(row["nominal"]), row["clearance"]
        fine, medium, coarse = (float(holes[key]) for key in ("fine", "medium", "coarse"))
        sources = (nominal.source, str(holes["source"]))
        found[name] = Clearance(nominal.value, fine, medium, coarse, sources)
    return MappingProxyType(found)


@cache
def woods() -> Mapping[str, Wood]:
    """Return all woods by name, in the order of the table."""
    return MappingProxyType(
        {
            name: Wood(
                name,
                row["title"],
                *(_figure(row[key]) for key in ("density", "radial", "tangential")),
            )
            for name, row in _read("wood.toml").items()
        }
    )


@cache
def resins() -> Mapping[str, Resin]:
    """Return all resins by name, in the order of the table."""
    found = {}
    for name, row in _read("resin.toml").items():
        a, b = row["density"]["value"]
        figures = {
            key: _figure(row[key]) for key in ("shrinkage", "gel_loss", "pot_life", "cup", "layer")
        }
        source, cautions = row["density"]["source"], tuple(row["cautions"])
        found[name] = Resin(name, row["title"], (a, b), source, cautions=cautions, **figures)
    return MappingProxyType(found)


def resin_of(cast: CastSection) -> Resin | None:
    """Return the resin that is cast: a row of the job's own over the kind that it names, or one of
    the table; None where neither knows it."""
    own = cast.own
    if own is None:
        return resins().get(cast.resin)
    kind = resins().get(own.kind)
    return None if kind is None else _over(kind, own)


def _over(kind: Resin, own: ResinSection) -> Resin:
    """Return a kind of resin with the figures that a row of the job's own gives."""

    def figure(value: float | None, usual: Figure) -> Figure:
        return usual if value is None else Figure(value, f"resin {own.name}")

    return replace(
        kind,
        name=own.name,
        shrinkage=figure(own.shrinkage, kind.shrinkage),
        gel_loss=figure(own.gel_loss, kind.gel_loss),
        pot_life=figure(own.pot_life, kind.pot_life),
        cup=figure(own.cup, kind.cup),
        layer=figure(own.layer, kind.layer),
    )


def part_words(insert: InsertSection) -> Said:
    """Returns what to buy for an insert: its name in the table, if it has one, and its sizes."""
    size = (
        f"barrel {mm(insert.barrel):g}, flange {mm(insert.flange):g} × "
        f"{mm(insert.flange_thickness):g}, length {mm(insert.length):g}"
    )
    return Said(f"{insert.hardware}, {size}" if insert.hardware else size)
