"""What a drawn job asks, worked out by arithmetic of our own, held against what a plan says and
cuts.

`docs/verify.py` cuts columns along the `.nc` files and holds them to the folder's polygons, floors,
planes and deck. Here those figures themselves are held to the numbers that were drawn: each pocket,
seat, bore and dowel by place, width and floor; the planes of the skim and its stop; the deck by its
formula (docs/deck.md), or by the dome that a mesh or grid was made from. Nothing of the package is
used. Lengths in mm, heights above the bed of a set-up.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import maximum_filter, minimum_filter
from shapely import LineString, Polygon

from tests.population.decks import step
from tests.population.drawing import Drawn
from tests.population.features import PARTS

__all__ = ["breaches", "cut_breaches", "figure_breaches"]

SCRIPT = Path(__file__).resolve().parents[2] / "docs" / "verify.py"

ROUND, WALL = 0.004, 0.008
"""What four decimals of an inch leave of a figure, and that with the 0.005 of the polygons."""

DECK, DOME = 0.006, 0.25
"""How near a deck of stations comes to its formula, and one from a file to its dome after smoothing
and facets."""

INTO_BED = 1.0  # milling.into_bed, which is not drawn


def breaches(drawn: Drawn, folder: Path) -> list[str]:
    """All that is wrong in a plan's folder: its figures first, then what its files cut."""
    return [*figure_breaches(drawn, folder), *cut_breaches(folder)]


def cut_breaches(folder: Path) -> list[str]:
    """What `docs/verify.py` says of the folder's files; a process of its own, which shares no code
    with the package."""
    done = subprocess.run(
        [sys.executable, "-I", str(SCRIPT), str(folder)], capture_output=True, text=True,
        check=False
    )  # fmt: skip
    found = [line for line in done.stdout.splitlines() if line.startswith("BREACH")]
    if done.returncode and not found:
        found = [
            f"docs/verify.py ended with {done.returncode}: {(done.stderr or done.stdout)[-300:]}"
        ]
    return found


def figure_breaches(drawn: Drawn, folder: Path) -> list[str]:
    """Where the figures of `geometry.json` and `report.json` are not those of the drawn job."""
    geometry, report = (
        json.loads((folder / f"{name}.json").read_text("utf-8")) for name in ("geometry", "report")
    )
    plan = _Plan(drawn, geometry, report)
    return [
        *plan.outline(),
        *plan.pockets(),
        *plan.dowels(),
        *plan.inserts(),
        *plan.planes(),
        *plan.deck(),
    ]


class _Plan:
    def __init__(self, drawn: Drawn, geometry: dict[str, Any], report: dict[str, Any]) -> None:
        self.drawn, self.job, self.geometry, self.report = drawn, drawn.job, geometry, report
        self.ring = Polygon(geometry["outline"])
        deck = geometry["deck"]
        self.h = np.array(deck["h"])
        self.x = deck["x0"] + np.arange(self.h.shape[0])
        self.y = deck["y0"] + np.arange(self.h.shape[1])
        skim = report["skim"]
        self.stop = float(skim["planes"][skim["planned_stop"] - 1])

    def areas(self, operation: str) -> list[dict[str, Any]]:
        return [one for one in self.geometry["areas"] if one["operation"] == operation]

    def height(self, x: float, y: float) -> float:
        """The deck at the nearest node."""
        return float(self.h[round(x - self.x[0]), round(y - self.y[0])])

    def outline(self) -> Iterator[str]:
        """The drawn places lie on the outline."""
        keys = self.job["outline"]
        if "dxf" in keys:
            return
        stations = "stations" in keys
        rows = [(float(x), float(y)) for x, y in keys["stations" if stations else "points"]]
        rows += [(x, -y) for x, y in rows] if stations else []
        off = max(float(self.ring.exterior.distance(shapely.Point(row))) for row in rows)
        if off > WALL:
            yield f"outline: passes {off:.4f} from a drawn place"

    def pockets(self) -> Iterator[str]:
        """The groove's walls by their distance from the outline; plugs by place and width; all
        floors."""
        groove = self.job["groove"]
        found = self.areas("groove")
        if len(found) != 1:
            yield f"groove: {len(found)} areas"
            return
        for ring, wide, name in (
            (found[0]["outer"], "outside", "outer"),
            (found[0]["holes"][0], "inside", "inner"),
        ):
            off = shapely.distance(self.ring.exterior, shapely.points(ring)) - float(groove[wide])
            yield from self._off(f"groove: {name} wall", off, WALL)
        yield from self._off("groove: floor", [found[0]["floor"] - float(groove["floor"])], ROUND)
        plugs = self.areas("plug-pockets")
        wanted = [(plug, at) for plug in self.job.get("plug", []) for at in plug["at"]]
        if len(plugs) != len(wanted):
            yield f"plugs: {len(plugs)} pockets, {len(wanted)} drawn"
        for plug, (x, y) in wanted:
            floor = float(plug.get("floor", groove["floor"]))
            axis = _axis(float(x), float(y), plug)
            near = min(plugs, key=lambda one: axis.distance(Polygon(one["outer"]).centroid))
            off = (
                shapely.distance(axis, shapely.points(near["outer"]))
                - float(plug["diameter"]) / 2.0
            )
            yield from self._off(f"plug {plug['name']}: wall", off, WALL)
            yield from self._off(f"plug {plug['name']}: floor", [near["floor"] - floor], ROUND)

    def dowels(self) -> Iterator[str]:
        found = self.areas("dowels")
        if len(found) != len(self.job["dowel"]):
            yield f"dowels: {len(found)} holes"
        for dowel in self.job["dowel"]:
            x, y = (float(v) for v in dowel["at"])
            near = min(found, key=lambda one: math.dist(one["at"], (x, y)))
            depth = near["floor"] + float(dowel["depth_in_bed"])
            off = [
                near["diameter"] - float(dowel["diameter"]),
                math.dist(near["at"], (x, y)),
                depth,
            ]
            yield from self._off("dowel: diameter, place, depth", off, ROUND)

    def inserts(self) -> Iterator[str]:
        """Seats and bores, mirrored by the flip, below the face that the skim leaves at its planned
        stop."""
        mirror = (1, -1) if self.job["machine"]["flip_about"] == "x" else (-1, 1)
        found = self.areas("inserts")
        wanted = [(insert, at) for insert in self.job.get("insert", []) for at in insert["at"]]
        if len(found) != 2 * len(wanted):
            yield f"inserts: {len(found)} steps, {len(wanted)} drawn"
        for insert, (x, y) in wanted:
            place = float(x) * mirror[0], float(y) * mirror[1]
            here = [one for one in found if math.dist(one["at"], place) < 0.01]
            if len(here) != 2:
                yield f"insert {insert['name']}: {len(here)} steps at {place}"
                continue
            seat, bore = sorted(here, key=lambda one: -one["diameter"])
            barrel, flange, thick = _part(insert)
            clear, recess = float(insert["clearance"]), float(insert["recess"])
            depth = self.stop - seat["floor"] - thick - recess
            off = [seat["diameter"] - flange - clear, bore["diameter"] - barrel - clear, depth]
            yield from self._off(
                f"insert {insert['name']}: seat, bore, depth of the seat", off, ROUND
            )
            opened = self.stop - self.height(float(x), float(y))  # where the deck to be lies in B
            if insert["through"]:
                if bore["floor"] > 0.0:
                    yield (
                        f"insert {insert['name']}: its bore ends {bore['floor']:.3f} above the bed"
                    )
            elif not 0.0 < bore["floor"] < opened + ROUND:
                yield (
                    f"insert {insert['name']}: its bore ends at {bore['floor']:.3f}, the deck to "
                    f"be at {opened:.3f}"
                )

    def planes(self) -> Iterator[str]:
        """Down in steps to what the deck needs, offered or not; the stop shows the groove, leaves
        the clean-up."""
        found, skim, deck = self.report["skim"], self.job["skim"], self.job["deck"]
        planes = [*found["planes"], *found["not_offered"]]
        if found["planned_stop"] > len(found["planes"]):
            yield (
                f"skim: {len(found['planes'])} passes offered, the stop is number "
                f"{found['planned_stop']}"
            )
        lowest = float(self.h.max()) + float(deck["clean_up"])
        most = float(skim["largest_step"]) + ROUND
        steps = -np.diff(np.array(planes))
        if len(steps) and not (steps.min() > 0.0 and steps.max() <= most):
            yield f"skim: steps of {steps.min():.3f} to {steps.max():.3f}"
        if not self.drawn.traits.get("measured"):
            yield from self._off("skim: lowest plane", [planes[-1] - lowest], 0.02)
            shows = float(self.job["blank"]["thickness"]) - float(self.job["groove"]["floor"])
            if self.stop > shows + ROUND:
                yield f"skim: stops at {self.stop:.3f}, the groove shows from {shows:.3f} down"
        if self.stop < lowest - 0.02:
            yield f"skim: stops at {self.stop:.3f}, the deck needs {lowest:.3f}"

    def deck(self) -> Iterator[str]:
        """Edge thickness in the band and outside; the formula or the dome where nothing rounds
        it."""
        keys, edge = self.job["deck"], float(self.job["board"]["edge_thickness"])
        xs, ys = self.x[::2], self.y[::2]
        h = self.h[::2, ::2]
        x, y = np.meshgrid(xs, ys, indexing="ij")
        corners = shapely.get_coordinates(self.ring.exterior)
        sides = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
        # A tree of the sides: a distance from each place to the whole ring takes ten times as long.
        _, away = shapely.STRtree(sides).query_nearest(
            shapely.points(x.ravel(), y.ravel()), return_distance=True, all_matches=False
        )
        away = away.reshape(x.shape)
        shapely.prepare(self.ring)
        inside = np.where(shapely.contains_xy(self.ring, x, y), away, -away)
        yield from self._off("deck: least", [min(float(h.min()) - edge, 0.0)], ROUND)
        if "blend" not in keys:
            yield from self._file_deck(x, y, h, inside, float(keys["edge_band"]))
            return
        clear = np.ones(x.shape, dtype=bool)
        for area in self.drawn.deck.patches if self.drawn.deck else []:
            clear &= ~shapely.contains_xy(area.buffer(3.0), x, y)
        band = (inside < float(keys["edge_band"]) - 0.5) & clear
        yield from self._off("deck: edge band and beyond", (h - edge)[band], ROUND)
        if "profile" in keys:
            return
        thick = self._along(xs, keys)[:, None]
        asked = edge + (thick - edge) * step(
            (inside - float(keys["edge_band"])) / float(keys["blend"])
        )
        over = (h - asked)[clear]
        if float(over.max()) > DECK:
            yield f"deck: stands {over.max():.4f} over its formula"
        smooth = clear & _unrounded(inside, asked, float(keys["least_radius"]))
        yield from self._off("deck: formula", (h - asked)[smooth], DECK)

    def _file_deck(
        self, x: np.ndarray, y: np.ndarray, h: np.ndarray, inside: np.ndarray, band: float
    ) -> Iterator[str]:
        """Never over the dome; as high where no rounding of creases, which only lowers, can have
        touched it."""
        assert self.drawn.deck is not None
        dome = self.drawn.deck.height(x.ravel(), y.ravel()).reshape(x.shape)
        within = inside > band + 12.0
        over = float((h - dome)[within].max(initial=0.0))
        if over > DOME:
            yield f"deck: stands {over:.4f} over its dome"
        even = within & _gentle(dome, float(self.job["deck"]["least_radius"]))
        yield from self._off("deck: dome", (h - dome)[even], DOME)

    def _along(self, xs: np.ndarray, keys: dict[str, Any]) -> np.ndarray:
        """The stations' curve averaged by a cubic B-spline as wide as `deck.smooth`, by plain sums
        of 0.25 mm."""
        stations = np.array([[float(v) for v in row] for row in keys["stations"]])
        curve = PchipInterpolator(stations[:, 0], stations[:, 1])
        quarter = float(keys["smooth"]) / 4.0
        shift = np.arange(-2.0 * quarter, 2.0 * quarter + 0.125, 0.25)
        a = np.abs(shift / quarter)
        weight = np.where(
            a < 1.0, 2.0 / 3.0 - a**2 + a**3 / 2.0, np.clip(2.0 - a, 0.0, None) ** 3 / 6.0
        )
        values = curve(np.clip(xs[:, None] + shift, stations[0, 0], stations[-1, 0]))
        return np.asarray((values * weight).sum(axis=1) / weight.sum())

    @staticmethod
    def _off(name: str, off: Any, allowed: float) -> Iterator[str]:
        values = np.abs(np.asarray(off, dtype=float))
        if values.size and not float(values.max()) <= allowed:
            yield f"{name}: {float(values.max()):.4f} off, {allowed:g} allowed"


def _axis(x: float, y: float, plug: dict[str, Any]) -> LineString | shapely.Point:
    """The middle of a plug: a point, or the line between the middles of a slot's ends."""
    if "slot" not in plug:
        return shapely.Point(x, y)
    reach, turn = (float(plug["slot"]) - float(plug["diameter"])) / 2.0, math.radians(plug["angle"])
    dx, dy = reach * math.cos(turn), reach * math.sin(turn)
    return LineString([(x - dx, y - dy), (x + dx, y + dy)])


def _part(insert: dict[str, Any]) -> tuple[float, float, float]:
    """Barrel, flange and its thickness."""
    if "hardware" in insert:
        row = next(part for part in PARTS if part[0] == insert["hardware"])
        return row[1], row[2], row[3]
    return float(insert["barrel"]), float(insert["flange"]), float(insert["flange_thickness"])


def _unrounded(inside: np.ndarray, asked: np.ndarray, radius: float) -> np.ndarray:
    """Where the distance has no crease and the formula no bend near the least radius, 30 mm round;
    steps of 2 mm."""
    gx, gy = np.gradient(inside, 2.0)
    return np.asarray((minimum_filter(np.hypot(gx, gy), 31) > 0.995) & _gentle(asked, radius))


def _gentle(heights: np.ndarray, radius: float) -> np.ndarray:
    """Where no bend comes near the least radius, 30 mm round; steps of 2 mm."""
    bends = [np.abs(one) for part in np.gradient(heights, 2.0) for one in np.gradient(part, 2.0)]
    return np.asarray(maximum_filter(np.max(bends, axis=0), 31) < 0.6 / radius)
