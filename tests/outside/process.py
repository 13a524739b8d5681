"""The making of a core as a physical process, for a Monte Carlo: heights of things, no relation of
the stack-up.

A blank lies on a bed. Each place has a thickness, a gap under it in each set-up and a bed of its
own; each operation has a touch and a machine error of its own, which all its places share. The
process is played in the order of the shop: touch off, cut groove and pockets, pour, plane flush,
turn over, touch off, skim, bore the seats, turn back, touch off, cut the deck. Every cutter goes to
a height of the *room* (0: where the bed should be), so that what it leaves at a place follows from
where the wood is there, and nothing is ever added by a formula of ours. Lengths in mm; arrays are
(draws,) for what all places share and (draws, places) for what each has.

What the plan commands is read from it (planes, floors, depths of seats and bores, planes of a
flush); what the wood then does is not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.stackup.stackup import Stackup

Floats = NDArray[np.float64]
Outcome = tuple[str, str]
"""A check's id and the casting or insert that it is about, "" where it is about the whole core."""

OPERATIONS = ("groove", "plug-pockets", "flush", "skim", "inserts", "deck")
EACH = ("thickness", "gap A", "gap B", "gap C", "bed", "bed in B")
GEL_LOSS = {"polyurethane": 0.02, "epoxy": 0.03}
"""Share of the depth, as the table of resins has it (no source)."""
ONE_SIDED = ("gap A", "gap B", "gap C")


@dataclass(frozen=True)
class Site:
    """Places that are looked at: `h` of the deck there, and which of them belong to what."""

    h: Floats
    at: Floats
    """(places, 2) where they are"""
    touch: int
    deck: list[int]
    castings: dict[str, list[int]]
    inserts: dict[str, int]
    over: dict[str, tuple[float, float, float]]
    """Of each insert the deck over it: lowest over the seat, lowest and highest over the bore."""
    spans: dict[str, float]


def site_of(job: Job, board: Board, seed: int = 1, some: int = 2) -> Site:
    """Places of a board: where it is touched, the deck's highest, of each casting its highest,
    lowest and `some`."""
    rng = np.random.default_rng(seed)
    h: list[float] = []
    at: list[tuple[float, float]] = []

    def add(value: float, x: float, y: float) -> int:
        h.append(value)
        at.append((x, y))
        return len(h) - 1

    def of(area: Polygon, some: int) -> list[int]:
        found = [add(*board.deck.highest_over(area)), add(*board.deck.lowest_over(area))]
        line = area.exterior
        for share in rng.uniform(0.0, 1.0, some):
            place = line.interpolate(share, normalized=True)
            found.append(add(float(board.deck.height(place.x, place.y)), place.x, place.y))
        return found

    x, y = job.machine.touch_at or (0.0, 0.0)
    touch = add(float(board.deck.height(x, y)), x, y)
    deck = of(board.blank, 2)
    castings = {casting.id: of(casting.area, some) for casting in board.castings}
    inserts, over = {}, {}
    for place in board.places:
        inserts[place.id] = add(float(board.deck.height(place.x, place.y)), place.x, place.y)
        low, high = board.deck.lowest_over, board.deck.highest_over
        over[place.id] = low(place.seat.area)[0], low(place.bore_area)[0], high(place.bore_area)[0]
    spans = {casting.id: casting.half_span for casting in board.castings}
    return Site(np.array(h), np.array(at), touch, deck, castings, inserts, over, spans)


class Process:
    """One job played with errors drawn, or set; `names` are the errors, one column of `errors`
    each."""

    def __init__(self, job: Job, board: Board, stack: Stackup, site: Site | None = None) -> None:
        self.job, self.board, self.stack = job, board, stack
        self.site = site or site_of(job, board)
        count = len(self.site.h)
        self.came, self.hollow = np.full(count, job.blank.thickness), np.zeros(count)
        """What is sure of each place: its thickness, and the gap under it in A; errors come on
        top."""
        flushed = stack.heights.face_flush
        self.faces = job.blank.thickness, job.blank.thickness if flushed is None else flushed.plane
        """Heights at which the touched faces of A and B are taken to stand."""
        self.names = [f"{kind} {name}" for kind in ("touch", "machine") for name in OPERATIONS]
        self.names += ["level", "shrinkage", "pour line", "gel loss"]
        self.names += [f"{kind} @{k}" for kind in EACH for k in range(count)]
        self._sizes = np.array([self._size(name) for name in self.names])
        self._low = np.array([0.0 if name.startswith(ONE_SIDED) else -1.0 for name in self.names])
        self._high = np.ones(len(self.names))
        self._column = {name: k for k, name in enumerate(self.names)}

    def _size(self, name: str) -> float:
        t, tolerance = self.job.tolerances, self.job.blank.tolerance
        if name.startswith("gap"):
            return t.flat
        if name.startswith("thickness"):
            return t.thickness if tolerance is None else tolerance
        kinds = {
            "touch": t.touch,
            "machine": t.machine,
            "bed": t.bed,
            "level": 1.0,
            "shrinkage": t.shrinkage,
        }
        kinds |= {"pour": t.pour_line, "gel": t.gel_loss}
        return kinds[name.split()[0]]

    def draw(self, draws: int, seed: int) -> Floats:
        """(draws, errors), each even over its interval, which is harsher than the shop."""
        return np.random.default_rng(seed).uniform(self._low, self._high, (draws, len(self.names)))

    def draw_normal(self, draws: int, seed: int) -> Floats:
        """(draws, errors), each normal about its middle, a third of its half-width wide, cut off at
        its ends: the inverse of its distribution at places drawn evenly."""
        ends = scipy.special.ndtr([-3.0, 3.0])
        drawn = np.random.default_rng(seed).uniform(*ends, (draws, len(self.names)))
        # in place: these are tens of millions of numbers
        scipy.special.ndtri(drawn, out=drawn)
        drawn *= (self._high - self._low) / 6.0
        drawn += (self._low + self._high) / 2.0
        return drawn

    def as_operated(self, errors: Floats) -> dict[Outcome, NDArray[np.bool_]]:
        """(draws,) what is spoilt on each core whose skim ended once all castings showed, or at the
        last pass."""
        shop = _Shop(self, errors * self._sizes)
        for step in (shop.pockets, shop.pour, shop.flush):
            step()
        leak = self.job.groove.leak_floor
        spoilt = {("floor", name): (wood < leak).any(axis=1) for name, wood in shop.under.items()}
        going = np.ones(len(errors), dtype=np.bool_)
        for plane in self.stack.skim.planes:
            shop.skim(plane)
            shop.deck(plane)
            hidden = {key: (past < 0.0).any(axis=1) for key, past in shop.seen().items()}
            last = plane == self.stack.skim.planes[-1]
            ends = going & (last | ~np.logical_or.reduce(list(hidden.values())))
            found = shop.bare() | (hidden if last else {})
            for key, so in found.items():
                spoilt[key] = spoilt.get(key, False) | (so & ends)
            going &= ~ends
        return spoilt

    def happened(self, names: Iterable[str], errors: Floats) -> None:
        """From now on these errors are what they were in one draw, (errors,)."""
        for name in names:
            k = self._column[name]
            self._low[k] = self._high[k] = errors[k]

    def read_in_groove(self, errors: Floats) -> Floats:
        """(draws, places of the groove) its depth below the raw top, before the pour."""
        shop = _Shop(self, errors * self._sizes)
        shop.pockets()
        return shop.depth["groove"]

    def read_after_skim(self, errors: Floats, places: list[int]) -> Floats:
        """(draws, places) thickness after the skim to the planned stop."""
        shop = _Shop(self, errors * self._sizes)
        for step in (shop.pockets, shop.pour, shop.flush):
            step()
        shop.skim(self.stack.skim.planned_plane)
        return shop.core[:, places]

    def corner(self, outcome: Outcome) -> float:
        """The least that an outcome comes to with every error at one of its ends.

        Each error is moved alone to find the end that hurts; then all stand at their ends. At a
        corner all places of the outcome are moved at once, so that the weakest of them counts.
        """
        middle = (self._low + self._high) / 2.0
        each = np.repeat(middle[None, :], 2 * len(self.names), axis=0)
        k = np.arange(len(self.names))
        each[2 * k, k], each[2 * k + 1, k] = self._low, self._high
        ends = self.play(each, least=False)[outcome]
        least = np.inf
        for place in range(ends.shape[1]):
            worse = np.where(ends[2 * k, place] < ends[2 * k + 1, place], self._low, self._high)
            least = min(least, float(self.play(worse[None, :], least=False)[outcome][0, place]))
        return least

    def play(self, errors: Floats, *, least: bool = True) -> dict[Outcome, Floats]:
        """Every outcome, (draws,) least over its places, or (draws, places)."""
        found = _Shop(self, errors * self._sizes).outcomes()
        return {key: value.min(axis=1) for key, value in found.items()} if least else found

    def error(self, errors: Floats, name: str) -> Floats:
        return errors[:, self._column[name]]

    def field(self, errors: Floats, kind: str) -> Floats:
        first = self._column[f"{kind} @0"]
        return errors[:, first : first + len(self.site.h)]


class _Shop:
    """The process with errors in mm; every method is one step of the shop."""

    def __init__(self, process: Process, errors: Floats) -> None:
        self.p, self.job, self.site, self.stack = process, process.job, process.site, process.stack
        self.error: Callable[[str], Floats] = lambda name: process.error(errors, name)
        self.gap_a, self.gap_b, self.gap_c, self.bed, self.bed_b = (
            process.field(errors, kind) for kind in EACH[1:]
        )
        self.gap_a = process.hollow + self.gap_a
        self.came = process.came + process.field(errors, "thickness")
        self.left = self.came.copy()
        self.on_face = self.job.machine.z_zero == "face"

    def cut_to(self, operation: str, height: float, touched: Floats, nominal: float) -> Floats:
        """Height in the room that a cutter goes to, commanded to `height` above the bed.

        On the face, the operator sets `nominal` where the cutter touches the face, which really
        stands at `touched`.
        """
        zero = touched - nominal if self.on_face else np.zeros(len(touched))
        return zero + self.error(f"touch {operation}") + height + self.error(f"machine {operation}")

    def set_up_a(self, operation: str, height: float) -> Floats:
        """(draws,) height in the room of a floor or plane cut in A."""
        k = self.site.touch
        return self.cut_to(
            operation, height, self.bed[:, k] + self.gap_a[:, k] + self.came[:, k], self.p.faces[0]
        )

    def outcomes(self) -> dict[Outcome, Floats]:
        self.pockets()
        self.pour()
        self.flush()
        found: dict[Outcome, Floats] = {}
        skim, clean_up = self.stack.skim, self.job.deck.clean_up
        for plane in dict.fromkeys((skim.planned_plane, skim.judged_plane)):
            self.skim(plane)
            self.deck(plane)
            if plane == skim.planned_plane:
                found |= self.seen() | self.seats()
                found["clean-up", ""] = self.cleaned[:, self.site.deck]
                found["window", ""] = self.window(clean_up)
            if plane == skim.judged_plane:
                found |= self.filled()
        for name, wood in self.under.items():
            found["floor", name] = wood
        return found

    def pockets(self) -> None:
        """Wood left under each floor, and the depth of each pocket below the raw top."""
        self.under, self.depth = {}, {}
        for casting in self.p.board.castings:
            ks = self.site.castings[casting.id]
            floor = self.set_up_a(
                "groove" if casting.kind == "groove" else "plug-pockets", casting.floor
            )
            bottom = self.bed[:, ks] + self.gap_a[:, ks]
            self.under[casting.id] = floor[:, None] - bottom
            self.depth[casting.id] = bottom + self.came[:, ks] - floor[:, None]

    def pour(self) -> None:
        """How far the cured resin lies below the raw top at its lowest: level while the blank is
        not."""
        cast, self.low = self.job.cast, {}
        gel_loss = GEL_LOSS[cast.resin] if cast.gel_loss is None else cast.gel_loss
        tilt = np.abs(self.error("level")) * self.job.tolerances.level / 1000.0
        line = cast.pour_short + self.error("pour line")
        for name in self.depth:
            rise = tilt * self.site.spans[name]
            low_end = line - rise
            over = np.maximum(-low_end, 0.0) if cast.flush == "none" else 0.0
            loses = cast.shrinkage + self.error("shrinkage") + gel_loss + self.error("gel loss")
            self.low[name] = (line + rise + over)[:, None] + loses[:, None] * self.depth[name]

    def flush(self) -> None:
        """Resin and wood are planed off in A, in the whole face or over each casting."""
        self.dip = {name: np.zeros_like(low) for name, low in self.low.items()}
        if self.job.cast.flush == "none":
            return
        top = self.bed + self.gap_a + self.came
        face = self.stack.heights.face_flush
        if face is not None:
            plane = self.set_up_a("flush", face.plane)
            self.left = np.minimum(self.came, plane[:, None] - self.bed - self.gap_a)
        for casting in self.stack.castings:
            name = casting.casting.id
            ks = self.site.castings[name]
            height = face.plane if face is not None else casting.flush.plane
            planed = top[:, ks] - np.minimum(self.set_up_a("flush", height)[:, None], top[:, ks])
            resin = np.maximum(self.low[name], planed)
            if face is not None:
                self.depth[name] = self.depth[name] - planed
                self.low[name] = resin - planed
            else:
                self.low[name], self.dip[name] = resin, planed

    def skim(self, plane: float) -> None:
        """Turned over, what was the top bears; `core` is what stays between it and the skim at each
        place."""
        k = self.site.touch
        touched = self.bed_b[:, k] + self.gap_b[:, k] + self.left[:, k]
        self.plane = self.cut_to("skim", plane, touched, self.p.faces[1])
        self.core = self.plane[:, None] - self.bed_b - self.gap_b

    def deck(self, plane: float) -> None:
        """Turned back: what the deck pass takes off the raw top, and how thick the core is then."""
        k = self.site.touch
        top = self.bed + self.gap_c + self.core
        # what the operator sets as the height of the touched face: planned, or measured there
        nominal = self.stack.heights.raw_top_after(plane)
        self.reached = self.cut_to("deck", 0.0, top[:, k], nominal)
        room = self.reached[:, None] + self.site.h
        self.cleaned, self.finished = top - room, room - self.bed - self.gap_c

    def seen(self) -> dict[Outcome, Floats]:
        """By how much the skim has passed the bottom of each casting."""
        return {
            ("shows", name): depth - self.core[:, self.site.castings[name]]
            for name, depth in self.depth.items()
        }

    def bare(self) -> dict[Outcome, NDArray[np.bool_]]:
        """(draws,) whether raw face is left, resin lies below the deck, or a seat or barrel comes
        through it."""
        found = {("clean-up", ""): (self.cleaned[:, self.site.deck] < 0.0).any(axis=1)}
        for name, ks in self.site.castings.items():
            found["fill", name] = (self.cleaned[:, ks] < self.low[name]).any(axis=1)
        for key, left in self.seats().items():
            if key[0] in ("wood-over-seat", "barrel"):
                found[key] = (left < 0.0).any(axis=1)
        return found

    def window(self, clean_up: float) -> Floats:
        """Room between the highest cut in B that shows every casting and the lowest that leaves the
        clean-up."""
        shows = [
            self.depth[n] + self.gap_b[:, ks] + self.bed_b[:, ks]
            for n, ks in self.site.castings.items()
        ]
        highest = np.concatenate(shows, axis=1).min(axis=1)
        ks = self.site.deck
        lowest = self.plane[:, None] - (self.cleaned[:, ks] - clean_up)
        return highest[:, None] - lowest

    def filled(self) -> dict[Outcome, Floats]:
        """Resin above the fill margin; height of what joins board and rim in B and in C."""
        found = {}
        for name, ks in self.site.castings.items():
            ks, low = ks[:1], self.low[name][:, :1]
            found["fill", name] = self.cleaned[:, ks] - self.job.cast.fill_margin - low
        k = self.site.castings["groove"][1]
        joins = self.core[:, k] - self.low["groove"][:, 1]
        found["hold", ""] = np.stack([joins, self.finished[:, k]], axis=1)
        return found

    def seats(self) -> dict[Outcome, Floats]:
        """Flange below the skimmed face, wood over it and over the barrel, how far a blind bore
        passes the deck."""
        found = {}
        off = self.error("touch inserts") + self.error("machine inserts")
        for stack in self.stack.places:
            insert, name = stack.place.insert, stack.place.id
            k = self.site.inserts[name]
            over_seat, over_bore, highest = (
                self.finished[:, k] - self.site.h[k] + h for h in self.site.over[name]
            )
            seat = stack.seat_depth + off
            found["seat", name] = (seat - insert.flange_thickness)[:, None]
            found["wood-over-seat", name] = (over_seat - seat)[:, None]
            barrel = seat - insert.flange_thickness + insert.length
            found["barrel", name] = (over_bore - barrel)[:, None]
            if not insert.through:
                found["opens", name] = (stack.bore_depth + off - highest)[:, None]
        return found
