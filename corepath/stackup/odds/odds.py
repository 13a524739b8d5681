"""How likely a core comes out: many cores are made on paper, each with errors drawn at random.

Each is skimmed as an operator does it, pass by pass until every casting shows all over, and then
looked at: it is *spoiled* where the floor of a pocket leaks, a casting does not show at the lowest
pass that is offered, raw face stays where some clean-up was asked for, resin lies below the deck, a
seat or a barrel comes through it, or a casting, the wall round a bolt or the wood round a seat is
cut away in X and Y. What only misses a margin is not spoiled: the checks judge margins.

The heights are those of `Heights`; nothing is worked out a second time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from corepath.board.features import Board
from corepath.reported import Key, report_keys
from corepath.stackup.checks.depth_checks import (
    flush_clean_up,
    over_barrel,
    wood_over_seat,
)
from corepath.stackup.linear import Linear
from corepath.stackup.make_stackup import build_stackup
from corepath.stackup.odds.cells import (
    CORRELATION,
    CastingCell,
    DeckCell,
    casting_cells,
    deck_cells,
)
from corepath.stackup.odds.drawn_errors import DrawnErrors, ErrorCell, Spread, even, normal
from corepath.stackup.odds.errors_in_place import left_in_place
from corepath.stackup.skim import TIE
from corepath.stackup.stacks import CastingStack
from corepath.stackup.stackup import Stackup

__all__ = [
    "CORES",
    "DRAWN",
    "Odds",
    "Spoiler",
    "draw_odds",
    "lower_bound",
    "odds_words",
    "share_unmeasured",
]

CORES = 20_000
"""Cores drawn: a share of 0.97 is then good to about ± 0.0024 (two standard errors)."""

TILTS = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Shares of `tolerances.level` between which the level of the resin is interpolated: it follows the
tilt in two straight pieces, with a bend where the resin begins to run over the low end."""

RAW_TOP = "raw top"
"""Asked where no clean-up is asked for: raw top stays, which spoils nothing."""

DRAWN = frozenset({
    "window", "floor", "shows", "clean-up", "fill", "wood-over-seat", "barrel",
    "registration",
})  # fmt: skip
"""Checks whose failing the odds weigh."""

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
AtPlane = Callable[[float], Linear]
"""A length that must not be negative, for a stop of the skim at a plane, mm above the bed in B."""


@report_keys("check", "where", "share")
@dataclass(frozen=True, slots=True)
class Spoiler:
    """What spoils some cores: the `check` that it belongs to, where, and the share of all cores."""

    check: str
    where: str
    share: float


@report_keys(
    Key("comes_out", "share"), "at_least", Key("evenly_drawn", "even"), "cores", "raw_stays",
    "spoilers",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Odds:
    """How many of the drawn cores come out, as a share from 0 to 1.

    `at_least` is the lower end of that share's one-sided 95 % interval, `even` the share where the
    errors are drawn evenly over their intervals. `spoilers`, the largest first, may overlap.
    `raw_stays` is the share of cores on which raw top stays, where the job asks for no clean-up.
    """

    share: float
    at_least: float
    even: float
    cores: int
    spoilers: tuple[Spoiler, ...]
    raw_stays: float | None = None


def draw_odds(stack: Stackup, board: Board, cores: int = CORES, size: float = CORRELATION) -> Odds:
    """Draws `cores` cores of a job and returns how many come out.

    `size` is the length of a cell of groove or deck, mm: over that length errors are alike (common
    practice, no source).
    """
    asked = _asked(stack, board, size)
    made = _Made.drawn(stack, asked, cores, normal)
    good = made.good
    evenly = _Made.drawn(stack, asked, cores, even)
    share = good / cores
    return Odds(
        share=share,
        at_least=lower_bound(good, cores),
        even=1.0 - float(evenly.spoiled.mean()),
        cores=cores,
        spoilers=made.spoilers(),
        raw_stays=None if stack.job.deck.clean_up > 0.0 else made.share(RAW_TOP, ""),
    )


def share_unmeasured(stack: Stackup, board: Board, cores: int = CORES) -> float | None:
    """Returns the share of cores that came out before anything was measured of the blank or
    recorded: what measuring has gained since. None where nothing was."""
    heights = stack.heights
    if not (heights.blank.measured or heights.settled):
        return None
    before = build_stackup(stack.job, board)
    made = _Made.drawn(before, _asked(before, board, CORRELATION), cores, normal)
    return made.good / cores


@dataclass(frozen=True, slots=True)
class _Question:
    """What must not be negative in a cell, after the stop: `check` and `where` name the cause.

    `eased` is how much more is left, mm, where the blank lies out of level by each of the shares
    `TILTS` of its tolerance: `value` counts that in full.
    """

    check: str
    where: str
    cell: ErrorCell
    value: AtPlane
    spoils: bool = True
    eased: tuple[float, ...] = ()


_Asked = tuple[tuple[CastingCell, ...], tuple[_Question, ...]]
"""The cells of the castings, and what is asked of each core."""


def _asked(stack: Stackup, board: Board, size: float) -> _Asked:
    cells = tuple(casting_cells(stack, board, size))
    return cells, tuple(_questions(stack, board, cells, size))


def _questions(
    stack: Stackup, board: Board, cells: Iterable[CastingCell], size: float
) -> Iterator[_Question]:
    """Yields what is asked of each core; the worst case decides what need not be drawn."""
    # All lengths fall, or stay, with a lower plane: what holds at the lowest holds at each.
    lowest = _planes(stack)[-1]
    for asked in _all_questions(stack, board, cells, size):
        if asked.value(lowest).worst()[0] < -TIE:
            yield asked


def _all_questions(
    stack: Stackup, board: Board, cells: Iterable[CastingCell], size: float
) -> Iterator[_Question]:
    for of in cells:
        yield from _of_casting(stack, of)
    for casting in stack.castings:
        if casting.flush is not None:
            name = casting.casting.id
            band = partial(flush_clean_up, stack, casting)
            yield _Question("clean-up", name, ErrorCell(f"flush {name}"), band)
    yield from _of_deck(stack, board, size)
    for place in stack.places:
        name = place.place.id
        for check, room in (("wood-over-seat", wood_over_seat), ("barrel", over_barrel)):
            yield _Question(check, name, ErrorCell(f"seat {name}"), partial(room, stack, place))
    for name, left in left_in_place(stack, board):
        yield _Question("registration", name, ErrorCell(""), _whatever(left))


def _of_casting(stack: Stackup, of: CastingCell) -> Iterator[_Question]:
    """Yields the questions about one cell of a casting: its floor, and its resin under the deck."""
    casting = of.casting
    one, low = casting.casting, casting.pour.p_expected
    wood = stack.heights.wood_under(one.floor, casting.operation, of.widest_gap_at)
    yield _Question("floor", one.id, of.cell, _whatever(wood - stack.job.groove.leak_floor))

    def over_deck(plane: float) -> Linear:
        return stack.heights.clean_up(of.deck, plane, of.highest_at) - low

    yield _Question("fill", one.id, of.cell, over_deck, eased=_eased(stack, casting))


def _eased(stack: Stackup, casting: CastingStack) -> tuple[float, ...]:
    """Returns how much higher the lowest resin stands than with the blank out of level by all of
    its tolerance, mm, for each of `TILTS`."""
    pour = casting.pour
    # A flush planes resin and wood alike: how much the tilt then still matters is not worked out,
    # and all of it counts.
    if casting.flush is not None or stack.heights.face_flush is not None:
        return ()
    low = [
        stack.heights.resin_low(
            pour.id, Linear.of(pour.depth), pour.half_span, pour.uneven, share
        ).nominal
        for share in TILTS
    ]
    return tuple(low[-1] - one for one in low)


def _of_deck(stack: Stackup, board: Board, size: float) -> Iterator[_Question]:
    """Yields what the deck pass removes in each cell: less than nothing leaves raw face there."""
    asked = stack.job.deck.clean_up > 0.0
    for one in deck_cells(stack, board, size):
        removed = partial(_removed, stack, one)
        yield _Question("clean-up" if asked else RAW_TOP, "", one.cell, removed, asked)


def _whatever(value: Linear) -> AtPlane:
    """Returns a length that does not depend on where the skim stops."""
    return lambda _: value


def _removed(stack: Stackup, of: DeckCell, plane: float) -> Linear:
    return stack.heights.clean_up(of.deck, plane, of.at)


def _planes(stack: Stackup) -> tuple[float, ...]:
    """Returns the planes at which the skim may stop, highest first."""
    skim = stack.skim
    return (skim.planned_plane,) if skim.recorded else skim.planes


@dataclass(frozen=True, slots=True)
class _Made:
    """The drawn cores: by (check, where) which of them are so, and which are spoiled by any."""

    found: dict[tuple[str, str], Mask]
    spoiled: Mask

    @classmethod
    def drawn(cls, stack: Stackup, of: _Asked, cores: int, spread: Spread) -> _Made:
        """Draws the errors of all cores, skims each until all shows and asks every question."""
        cells, questions = of
        spoiled = np.zeros(cores, dtype=np.bool_)
        if not questions and not _may_hide(stack, cells):
            return cls({}, spoiled)
        errors, planes = DrawnErrors(cores, spread), _planes(stack)
        stops, hidden = _stops(stack, cells, errors)
        found = {key: mask for key, mask in hidden.items() if mask.any()}
        for mask in found.values():
            spoiled |= mask
        for asked in questions:
            short = _at_stops(asked, planes, stops, errors) < -TIE
            if short.any():
                key = (asked.check, asked.where)
                found[key] = found[key] | short if key in found else short
                if asked.spoils:
                    spoiled |= short
        return cls(found, spoiled)

    @property
    def good(self) -> int:
        return int((~self.spoiled).sum())

    def share(self, check: str, where: str) -> float:
        mask = self.found.get((check, where))
        return 0.0 if mask is None else float(mask.mean())

    def spoilers(self) -> tuple[Spoiler, ...]:
        named = [Spoiler(*key, self.share(*key)) for key in self.found if key[0] != RAW_TOP]
        return tuple(sorted(named, key=lambda one: (-one.share, one.check, one.where)))


def _may_hide(stack: Stackup, cells: tuple[CastingCell, ...]) -> bool:
    """Returns whether a casting may not show at the lowest plane, by the worst case as in
    `_questions`: where it surely does and nothing is asked, no error need be drawn."""
    if stack.skim.recorded:  # seen to show
        return False
    lowest = stack.heights.plane(_planes(stack)[-1])
    shows = (of.casting.shows_at(stack.heights, of.shallowest_at) for of in cells)
    return any((one - lowest).worst()[0] < -TIE for one in shows)


def _stops(
    stack: Stackup, cells: tuple[CastingCell, ...], errors: DrawnErrors
) -> tuple[NDArray[np.intp], dict[tuple[str, str], Mask]]:
    """Returns at which plane, by its place in `_planes`, each core's skim stops, and by casting the
    cores on which it does not show at the lowest."""
    planes = np.array(_planes(stack))
    if stack.skim.recorded:  # seen to show
        return np.zeros(errors.cores, dtype=np.intp), {}
    above = stack.heights.plane(0.0)
    highest: dict[str, Floats] = {}
    for of in cells:
        at = of.casting.shows_at(stack.heights, of.shallowest_at)
        shows, name = errors.values(at - above, of.cell), of.casting.casting.id
        highest[name] = np.minimum(highest[name], shows) if name in highest else shows
    least = np.minimum.reduce(list(highest.values()))
    # planes fall, so that their negatives are in order: the first that is no higher than `least`
    stop = np.searchsorted(-planes, -(least + TIE))
    hidden = {("shows", name): planes[-1] > shows + TIE for name, shows in highest.items()}
    return np.minimum(stop, len(planes) - 1), hidden


def _at_stops(
    asked: _Question, planes: tuple[float, ...], stops: NDArray[np.intp], errors: DrawnErrors
) -> Floats:
    """Returns (cores,) values of a length, each at the plane where that core's skim stops."""
    lengths = [asked.value(plane) for plane in planes]
    if all(one.parts == lengths[0].parts for one in lengths):
        # the plane moves the length and nothing else: the errors are summed once
        moved = np.array([one.nominal for one in lengths]) - lengths[0].nominal
        found = errors.values(lengths[0], asked.cell) + moved[stops]
    else:
        found = np.empty(errors.cores)
        for k, one in enumerate(lengths):
            found[stops == k] = errors.values(one, asked.cell)[stops == k]
    if asked.eased:
        found += np.interp(np.abs(errors.shares("level")), TILTS, asked.eased)
    return found


def lower_bound(good: int, cores: int) -> float:
    """Returns the lower end of the one-sided 95 % interval of a share of `cores`, of which `good`
    came out.

    Wilson's score interval of a binomial share: (p + z²/2n − z √(p(1 − p)/n + z²/4n²)) / (1 + z²/n)
    (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209, from memory).
    """
    z = 1.6449  # the normal distribution's 95 % point
    share, z2 = good / cores, z * z
    middle = share + z2 / (2.0 * cores)
    half = z * math.sqrt(share * (1.0 - share) / cores + z2 / (4.0 * cores * cores))
    return (middle - half) / (1.0 + z2 / cores)


def odds_words(share: float) -> str:
    """Returns a share of cores in words: `97 of 100`, never all nor none of them.

    >>> odds_words(0.9701), odds_words(0.9999), odds_words(0.0)
    ('97 of 100', 'more than 99 of 100', 'fewer than 1 of 100')
    """
    if share > 0.995:
        return "more than 99 of 100"
    if share < 0.01:
        return "fewer than 1 of 100"
    # 1e-9: 0.29 * 100 is 28.999999999999996
    return f"{math.floor(share * 100.0 + 1e-9)} of 100"
