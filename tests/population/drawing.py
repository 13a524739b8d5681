"""Draws one ordinary job by seed and index: TOML text and the files beside it.

Every value is even over the ranges of `README.md`; a person's part is done by arithmetic: plugs
stand where the deck is low enough for their fill, inserts where it is high enough, and the groove's
floor lies inside the window, as somebody sets it who has read `check`'s lines on `floor` and
`window`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from shapely import Polygon

from tests.population.chance import Chance
from tests.population.decks import Deck, draw_deck
from tests.population.features import (
    APART,
    Ground,
    draw_clamps,
    draw_dowels,
    draw_inserts,
    draw_plugs,
    draw_screws,
    touch_place,
)
from tests.population.habits import add_habits
from tests.population.shapes import Shape, draw_shape
from tests.population.shop import draw_cutters, draw_machine, widest
from tests.population.toml_text import INCH, Mm, toml_text

__all__ = ["Drawn", "draw", "length_drawn"]

Section = dict[str, Any]

WOODS = (
    "yellow-poplar", "basswood", "sitka-spruce", "western-redcedar", "quaking-aspen",
    "bigtooth-aspen", "balsa",
    "paulownia", "bamboo",
)  # fmt: skip
SPEEDS = ((8000.0, 24000.0), (6000.0, 18000.0), (10000.0, 24000.0))

LEAST_FLOOR = {"bed": 0.85, "face": 1.0}
"""`check`'s line on the floor for tolerances at their defaults: 0.6 of wood, lying flat, bed,
touch, machine; with Z on the face the thickness and the bed under the touch besides."""

WINDOW_ERRORS = {"bed": 0.6, "face": 1.1}
"""What `check` takes from the window for the worst case, by Z zero."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A job: `text` for JOB.toml, `files` beside it, `traits` for tables; `job` the same in mm."""

    seed: int
    index: int
    text: str
    files: dict[str, bytes]
    traits: dict[str, Any]
    job: dict[str, Any] = field(repr=False, default_factory=dict)
    deck: Deck | None = field(repr=False, default=None)


def draw(seed: int, index: int) -> Drawn:
    """The job of this index in the draw of this seed; the same for ever."""
    return _Sketch(Chance(seed, index)).drawn(seed, index)


def length_drawn(seed: int, index: int) -> float:
    """The length (mm) of that job's board, without drawing the rest: the trait of that name."""
    return _Sketch(Chance(seed, index)).length


class _Sketch:
    """One job while it is drawn; each method adds sections."""

    def __init__(self, chance: Chance) -> None:
        self.chance = c = chance
        self.inch = c.yes(0.5)
        self.length = c.even(420.0, 1400.0, 1.0)
        self.core, self.edge = c.even(7.0, 12.0), c.even(3.0, 4.6)
        self.extra = c.even(2.4, 3.4, 0.05)
        self.clean_up = c.even(0.2, 0.5, 0.05)
        self.job: dict[str, Any] = {}
        self.files: dict[str, bytes] = {}
        self.traits: dict[str, Any] = {}

    def drawn(self, seed: int, index: int) -> Drawn:
        c = self.chance
        shape = draw_shape(c, self.length, self.inch)
        deck = draw_deck(c, shape, self.core, self.edge, self.clean_up)
        self.files |= {**shape.files, **deck.files}
        speeds = c.one_of(SPEEDS)
        name, cutters, dowel = draw_cutters(c, self.inch, speeds)
        holding = c.weighed(
            (("plain", 0.7), ("clamps C", 0.12), ("clamps B", 0.06), ("frame", 0.12))
        )
        machine, ground = self._blank(shape, deck, dowel, cutters, holding, speeds)
        self._sections(shape, deck, machine, ground, cutters, dowel, holding)
        self.job["cutter"] = cutters
        if cradle := self.traits["cradle"] and c.yes(0.4):
            self.job["obstacle"] = [
                *self.job.get("obstacle", []),
                self._stop_beside(ground, cutters),
            ]
        self.traits["stop in D"] = bool(cradle)
        self.traits |= self._traits(shape, deck, name, cutters)
        self.traits["habits"] = add_habits(Chance(seed, index, 1), self.job, self.files)
        text = toml_text({"title": f"Drawn {seed}-{index}", "units": "inch" if self.inch else "mm",
            **self.job},
                         self.inch)  # fmt: skip
        return Drawn(seed, index, text, self.files, self.traits, self.job, deck)

    def _blank(
        self,
        shape: Shape,
        deck: Deck,
        dowel: float,
        cutters: list[Section],
        holding: str,
        speeds: tuple[float, float],
    ) -> tuple[dict[str, Any], Ground]:
        """Blank, groove and machine: room for the dowels on the flip axis, and for what holds the
        blank."""
        c = self.chance
        inside, outside = c.even(6.0, 10.0, 0.5), c.even(3.5, 7.0, 0.5)
        ring = Polygon(shape.polygon.buffer(outside, quad_segs=32).exterior,
                       [shape.polygon.buffer(-inside, quad_segs=32).exterior])  # fmt: skip
        self.narrow = min(float(one["diameter"]) for one in cutters if one["shape"] == "flat")
        machine = draw_machine(c, (self.length + 90.0, 2 * shape.half + 90.0), 60.0, speeds)
        plain = 2 * APART + 1.5 * dowel + 2.0
        roomy = {"plain": 0.0, "frame": widest(cutters) / 2.0 + 4.0}.get(holding, 18.0)
        margins = {
            "x": (plain + c.even(0.0, 10.0, 0.5), APART + c.even(4.0, 20.0, 0.5)),
            "y": (APART + c.even(4.0, 20.0, 0.5), plain + c.even(0.0, 10.0, 0.5)),
        }[machine["flip_about"]]
        left, low, right, high = Polygon(ring.exterior).bounds
        length = c.up(2 * (max(-left, right) + margins[0] + roomy), 1.0)
        width = c.up(2 * (max(-low, high) + margins[1] + roomy), 1.0)
        self.groove = inside, outside
        self.job |= {
            "board": {"thickness": Mm(self.core), "edge_thickness": Mm(self.edge)},
            "outline": shape.keys,
            "deck": deck.keys,
        }
        ground = Ground((length, width), shape, ring, Polygon(ring.interiors[0]), deck)
        return machine, ground

    def _sections(
        self, shape: Shape, deck: Deck, machine: Section, ground: Ground, cutters: list[Section],
        dowel: float,
        holding: str,
    ) -> None:  # fmt: skip
        c = self.chance
        skin = self._skin(deck) if c.yes(0.25) and "blend" in deck.keys else None
        thick = round(self.core + self.extra, 2)
        zero, flush = machine["z_zero"], c.weighed((("none", 0.7), ("local", 0.15), ("face", 0.15)))
        blank: dict[str, Any] = {
            "length": Mm(ground.blank[0]),
            "width": Mm(ground.blank[1]),
            "thickness": Mm(thick),
            "wood": c.one_of(WOODS),
            "grain": c.one_of(("flat", "quarter")),
            "spoil_board": Mm(c.even(15.0, 25.0, 1.0)),
        }
        tolerance = c.one_of((None, 0.1, 0.08))
        if tolerance is not None:
            blank["tolerance"] = Mm(tolerance)
        if c.yes(0.35):
            blank["measured"] = "blank.csv"
            self.files["blank.csv"] = self._measured(ground, thick)
        cast = self._cast(flush, ground)
        self.job_flush = flush
        floor = self._floor(thick, zero, flush, "heights" in self.traits.get("measured", ""))
        layup = self._layup(ground) if c.yes(0.2) else None
        cradle = bool(layup and layup.get("cradle"))
        depth = min(float(one["cutting_length"]) for one in cutters if one["shape"] == "flat" and
                    float(one["diameter"]) <= dowel) - thick - 0.5  # fmt: skip
        depth = min(
            c.even(5.0, 9.0, 0.5), round(depth - 0.05, 1), float(blank["spoil_board"]) - 4.0
        )
        stand = min(c.even(2.0, 3.5, 0.1), self.edge - 1.0)
        dowels = draw_dowels(
            c, ground, machine["flip_about"], dowel, round(stand, 1), round(depth, 1)
        )
        posts = [Polygon(_square(one["at"], dowel)) for one in dowels]
        highest = (
            deck.highest
            + self.clean_up
            - float(cast["fill_margin"])
            - float(cast["pour_short"])
            - 1.0
        )
        if flush != "none":
            highest -= 0.4
        plugs = draw_plugs(c, ground, c.whole(0, 2), highest, self.narrow + 0.5, floor)
        inserts = draw_inserts(c, ground, c.whole(1, 3), self.narrow, layup is not None)
        ground.taken += posts
        self._hold(ground, deck, machine, cutters, holding)
        if zero == "face":
            machine["touch_at"] = [
                Mm(v)
                for v in touch_place(c, ground, [*posts, *self.clamped], machine["flip_about"])
            ]
        self.job |= {"blank": blank, "groove": {"inside": Mm(self.groove[0]),
        "outside": Mm(self.groove[1]),
                                                "floor": Mm(floor)}}  # fmt: skip
        if plugs:
            self.job["plug"] = plugs
        if inserts:
            self.job["insert"] = inserts
        self.job |= {"dowel": dowels, "skim": self._skim(), "cast": cast}
        if skin:
            self.job["skin"] = skin
        if layup:
            self.job["layup"] = layup
        if cradle:  # the form lifts the board: a machine with room over it
            machine["travel"][2] = Mm(c.one_of((180.0, 220.0)))
            self.job["trim"] = {
                "allowance": Mm(c.even(0.0, 1.0, 0.1)),
                "finish": Mm(0.3),
                "web": Mm(c.even(0.4, 0.8)),
            }
        if c.yes(0.3):
            self.job["milling"] = self._milling()
        self.job |= {"hold": self.hold, "machine": machine}
        if self.obstacles:
            self.job["obstacle"] = self.obstacles
        if self.screws:
            self.job["screw"] = self.screws
        self.traits |= {"zero": zero, "flush": flush, "cradle": cradle, "rocker": layup is not None}
        self.traits |= {
            "floor": floor,
            "blank": f"{ground.blank[0]:g}x{ground.blank[1]:g}x{thick:g}",
        }

    def _floor(self, thick: float, zero: str, flush: str, gap: bool) -> float:
        """Between the least that leaves 0.6 of wood and the most that leaves a window, nearer to
        the former."""
        least = LEAST_FLOOR[zero] + (0.15 if gap else 0.0)
        most = (
            thick
            - self.core
            - self.clean_up
            - WINDOW_ERRORS[zero]
            - (0.4 if flush == "face" else 0.0)
        )
        return self.chance.up(
            least + self.chance.even(0.0, 0.8, 0.05) * max(most - least, 0.0), 0.05
        )

    def _cast(self, flush: str, ground: Ground) -> dict[str, Any]:
        """The pour stays under the raw top at the low end of a blank 1 mm/m out of level; a dam
        lets it stand proud."""
        c = self.chance
        resin = c.one_of(("polyurethane", "epoxy"))
        short = c.up(ground.blank[0] / 2000.0 + 0.02 + c.even(0.0, 0.15, 0.01), 0.05)
        if flush != "none":
            short = c.even(-0.4, 0.3, 0.1)
        cast: dict[str, Any] = {"resin": resin}
        cast["ratio"] = [2, 1] if resin == "epoxy" else [100, 90]
        cast["ratio_by"] = c.one_of(("weight", "volume"))
        cast["density"] = [1.13, 1.0] if resin == "epoxy" else [1.05, 1.22]
        cast |= {
            "extra": c.even(0.1, 0.25, 0.05),
            "fill_margin": Mm(c.even(0.3, 0.5)),
            "pour_short": Mm(short),
        }
        if c.yes(0.3):
            cast["shrinkage"] = 0.003 if resin == "epoxy" else 0.005
        if flush != "none":
            cast["flush"] = flush
            cast["flush_band"] = Mm(c.even(6.0, 12.0, 1.0))
        return cast

    def _skim(self) -> dict[str, Any]:
        c = self.chance
        step = c.even(0.3, 0.7, 0.05)
        skim: dict[str, Any] = {
            "step": Mm(step),
            "largest_step": Mm(c.even(max(step, 0.6), 1.4, 0.1)),
        }
        if c.yes(0.2):
            skim["overlap"] = c.even(0.15, 0.4, 0.05)
        return skim

    def _milling(self) -> dict[str, Any]:
        c = self.chance
        return {
            "direction": c.one_of(("climb", "conventional")),
            "finish_allowance": Mm(c.even(0.0, 0.3, 0.05)),
            "light_layer": Mm(c.even(0.2, 0.5, 0.05)),
            "break_through": Mm(c.even(0.5, 1.5, 0.1)),
        }

    def _skin(self, deck: Deck) -> dict[str, Any]:
        """A skin thin enough to lie on the blend, whose deck has no crease tighter than the
        default.

        The largest second derivative of the step is 7.5 rises over the blend squared; the pressure
        grows with its fourth, as 0.7 bar for 0.6 of 20 GPa pressed over 60 on a rise of 6.8 (a
        one-dimensional obstacle problem).
        """
        c = self.chance
        modulus, limit, bar = (
            c.even(4.0, 22.0, 0.5),
            c.even(0.003, 0.006, 0.0005),
            c.even(0.6, 0.9, 0.05),
        )
        deck.keys["least_radius"] = Mm(c.even(150.0, 250.0, 10.0))
        blend, rise = float(deck.keys["blend"]), self.core - self.edge
        by_strain = 0.55 * 2 * limit / max(7.5 * rise / blend**2, 1 / 150.0)
        presses = 0.7 * (modulus / 20.0) * (rise / 6.8) * (60.0 / blend) ** 3.7
        by_pressure = 0.6 * (0.5 * bar / presses) ** (1 / 2.6)
        thick = min(c.even(0.3, 0.8, 0.05), by_strain, by_pressure)
        return {"thickness": Mm(max(round(thick - 0.005, 2), 0.15)), "modulus": modulus,
            "strain_limit": limit,
                "pressure": bar, "covers": c.one_of(("blank", "board"))}  # fmt: skip

    def _layup(self, ground: Ground) -> dict[str, Any]:
        """A form that rises towards both ends, with or without a cradle for set-up D."""
        c = self.chance
        end = round(ground.blank[0] / 2.0)
        nose, tail = (
            c.even(0.01, 0.035, 0.001) * self.length,
            c.even(0.0, 0.025, 0.001) * self.length,
        )
        bent = c.even(1.8, 2.4, 0.1)
        shares = (-1.0, -0.66, -0.33, 0.0, 0.33, 0.66, 1.0)
        rise = [round((nose if s > 0 else tail) * abs(s) ** bent, 1) for s in shares]
        layup: dict[str, Any] = {
            "rocker": [[Mm(round(s * end)), Mm(r)] for s, r in zip(shares, rise, strict=True)]
        }
        if c.yes(0.15):
            layup = {}  # a cradle for a board laid up flat
        layup["cradle"] = c.yes(0.6) or not layup
        layup |= {"skin_below": Mm(c.even(0.4, 1.0)), "skin_above": Mm(c.even(0.4, 1.0))}
        if c.yes(0.4):
            layup |= {
                "rib_spacing": Mm(c.even(90.0, 160.0, 5.0)),
                "rib_height": Mm(c.even(45.0, 70.0, 5.0)),
            }
        return layup

    def _hold(
        self, ground: Ground, deck: Deck, machine: Section, cutters: list[Section], holding: str
    ) -> None:
        """Tape, vacuum, clamps over corners of the rim, a frame left for them, screws in the
        rim."""
        c = self.chance
        self.hold = {
            "A": c.one_of(("tape", "vacuum")),
            "B": c.one_of(("tape", "vacuum")),
            "C": "vacuum",
        }
        self.obstacles: list[Section] = []
        self.screws: list[Section] = []
        self.clamped: list[Polygon] = []
        keep = max(widest(cutters), float(machine["collet_diameter"])) / 2.0 + 1.5
        if holding.startswith("clamps"):
            setup = holding[-1]
            self.obstacles, self.clamped = draw_clamps(c, ground, setup, keep, c.whole(1, 2))
        elif holding == "frame":
            walls = ground.outer.bounds
            room = min(
                ground.blank[0] / 2.0 - max(-walls[0], walls[2]),
                ground.blank[1] / 2.0 - max(-walls[1], walls[3]),
            )
            most = room - widest(cutters) / 2.0 - 0.7
            if most >= 2.0:
                deck.keys["margin"] = Mm(c.even(2.0, most, 0.5))
        if self.obstacles:
            self.traits["holding"] = holding
        elif "margin" in deck.keys:
            self.traits["holding"] = "frame"
        elif self.job_flush == "none" and c.yes(0.15):
            self.screws = draw_screws(c, ground)
            if self.screws:
                self.hold["A"] = "screws"
                self.traits["holding"] = "screws"

    def _stop_beside(self, ground: Ground, cutters: list[Section]) -> Section:
        """A stop of the cradle beside the middle of a long edge, off the trim; drawn last, so that
        all else stays."""
        c = self.chance
        x, side, wide = (
            c.even(-0.2, 0.2, 0.01) * self.length,
            c.one_of((-1.0, 1.0)),
            c.even(16.0, 40.0, 1.0),
        )
        near = max(ground.blank[1] / 2.0 + 1.0, ground.shape.half + widest(cutters) + 5.0) + c.even(
            0.0, 4.0, 0.5
        )
        form = float(self.job["layup"].get("rib_height", 45.0))  # the board's middle lies on it
        corners = [
            (x - wide, near),
            (x + wide, near),
            (x + wide, near + 20.0),
            (x - wide, near + 20.0),
        ]
        return {"points": [[Mm(round(a, 1)), Mm(round(side * b, 1))] for a, b in corners],
                "height": Mm(round(form + c.even(3.0, 12.0, 0.5), 1)), "setups": ["D"]}  # fmt: skip

    def _measured(self, ground: Ground, thick: float) -> bytes:
        """Places on a lattice near the edges and between: a wedge, a cup, the callipers' last
        digit."""
        c = self.chance
        nx, ny = c.one_of(((3, 3), (4, 3), (5, 3), (5, 4)))
        length, width = ground.blank
        wedge, cup, level = (
            c.even(-0.3, 0.3, 0.01),
            c.even(-0.12, 0.12, 0.01),
            c.even(-0.1, 0.1, 0.01),
        )
        held = c.yes(0.5)
        unit, scale, digits = ("in", INCH, 4) if self.inch else ("mm", 1.0, 2)
        names = ["x", "y", "thickness", *(["height"] if held else [])]
        lines = [",".join(f"{name} [{unit}]" for name in names)]
        rows = []
        for x in np.linspace(-length / 2.0 + 15.0, length / 2.0 - 15.0, nx):
            for y in np.linspace(-width / 2.0 + 12.0, width / 2.0 - 12.0, ny):
                t = (
                    thick
                    + level
                    + wedge * x / length
                    + cup * ((2 * y / width) ** 2 - 0.5)
                    + c.even(-0.02, 0.02, 0.01)
                )
                figures = [round(float(x)), round(float(y)), t]
                if held:
                    figures.append(t + c.even(0.0, 0.08, 0.01))
                rows.append(",".join(f"{round(v / scale, digits):g}" for v in figures))
        self.traits["measured"] = f"{nx * ny} places" + (", heights" if held else "")
        return ("\n".join([*lines, *rows]) + "\n").encode()

    def _traits(
        self, shape: Shape, deck: Deck, name: str, cutters: list[Section]
    ) -> dict[str, Any]:
        machine = self.job["machine"]
        return {
            "units": "inch" if self.inch else "mm", "length": self.length, "core": self.core,
            "edge": self.edge,
            "outline": shape.kind, "deck": deck.source, "flip": machine["flip_about"],
            "arcs": machine["arcs"],
            "cutters": f"{name} "
            + "+".join(f"{one['shape'][0]}{float(one['diameter']):.3g}" for one in cutters),
            "widest": widest(cutters), "change": machine["tool_change"],
            "corner": machine["xy_zero"],
            "plugs": len(self.job.get("plug", [])), "inserts": len(self.job.get("insert", [])),
            "blend": round(float(deck.keys["blend"]) / shape.half,
            2) if "blend" in deck.keys else None,
            "skin": "skin" in self.job, "resin": self.job["cast"]["resin"],
        }  # fmt: skip


def _square(at: list[Any], size: float) -> list[tuple[float, float]]:
    x, y = float(at[0]), float(at[1])
    half = size / 2.0
    return [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]
