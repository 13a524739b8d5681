"""A casting whose cured resin lies too low, found before anything is milled over it, and its fix.

The measured p (how far the resin lies below the raw top at its lowest point, mm) is compared with
the p that each possible stop of the skim allows. Two things fix a low casting: a *top-up*, a second
pour from above, or an *earlier stop*, whose higher plane leaves more above the deck. An earlier
stop is possible only where all castings show by then, which is seen at the machine. Volumes in cm³.
Formulas with a worked example: docs/pour.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from corepath.job.model import CastSection
from corepath.lengths import mm, out_of_level, said_all
from corepath.reported import Key, report_keys
from corepath.stackup.checks.verdict import Verdict
from corepath.stackup.linear import Linear
from corepath.stackup.pour.mixing import Parts, parts
from corepath.stackup.pour.pour import CastingPour, StopLimit, depth_loss
from corepath.stackup.skim import TIE

__all__ = [
    "FILL_ERROR",
    "FillAdvice",
    "FixBy",
    "Missing",
    "Reached",
    "Stage",
    "TopUp",
    "common_stop",
    "judge_fill",
]

FILL_ERROR = 0.05
"""mm, ±: measuring p with a depth gauge across the pocket (common practice, no source)."""

Stage = Literal["cast", "B", "after B", "C"]
"""How far the work has come: cast, raw top up; bottom up, skim begun; deck up again, nothing cut;
deck cut."""

FixBy = Literal["nothing", "top-up", "earlier stop", "either", "neither"]

_WHEN: dict[Stage, str] = {
    "cast": "now, from above, before the blank is turned over for B",
    "B": "from above, once it lies deck up again: after the inserts, before anything is cut in C",
    "after B": "now, from above, before anything is cut in C",
    "C": "",
}

_STEPS = (
    "abrade the cured surface until it is dull all over (80 to 120 grit)",
    "take out the dust and wipe it clean and dry; no finger on it from then on",
    "level the blank as for the pour",
    "pour to the pour line, let it cure as long as the first pour, measure again and record it",
)
"""How to top up (common practice, no source)."""


@report_keys(
    Key("pass", "number"), "plane", "p_limit", Key("missing", "value"), Key("missing_worst",
        "worst"),
    Key("missing_cm3", "volume", 3), "verdict", "shows",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Missing:
    """What a fill lacks if the skim stops after pass `number` at `plane`, mm: `value` nominally,
    `worst` at most, 0 where nothing is missing; `volume` (cm³) would make up for the worst."""

    number: int
    plane: float
    p_limit: float
    value: float
    worst: float
    volume: float
    verdict: Verdict
    shows: str


@report_keys(
    "line", "raises", Key("volume_cm3", "volume", 3), Key("*", "mixed"), "weigh", "p_after", "when",
    "steps",
    Key("level_within", "within", 3),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class TopUp:
    """A second pour from above to `line` mm below the raw top: `raises` mm, at most `volume` cm³.

    `mixed` is what that takes with the extra, `weigh` the same or as much more as can be weighed.
    `p_after` (mm) is how low the cured resin then lies at its lowest point, tilted as much as the
    level allows. `within` is the level (mm/m) that it needs where the job's own is not enough.
    """

    line: float
    raises: float
    volume: float
    mixed: Parts
    weigh: Parts
    p_after: float
    when: str
    steps: tuple[str, ...]
    within: float | None = None


@report_keys(
    "id", Key("p", "p.nominal"), "verdict", Key("mend", "fix"), Key("stops", "missing"), "top_up",
    Key("earlier_stop", "earlier.number"), Key("says", "message"),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class FillAdvice:
    """The judgement on the fill of one casting, and what fixes it.

    `verdict` is that of the `deciding` plane: the recorded stop, or the lowest pass. `missing` has
    one entry for each possible stop. `earlier` is the last pass before the deciding one after which
    the skim may stop with this fill, if there is one.
    """

    id: str
    p: Linear
    verdict: Verdict
    missing: tuple[Missing, ...]
    deciding: Missing
    top_up: TopUp | None
    earlier: Missing | None
    message: tuple[str, ...]

    @property
    def fix(self) -> FixBy:
        if self.verdict == "ok":
            return "nothing"
        if self.top_up is not None:
            return "either" if self.earlier is not None else "top-up"
        return "earlier stop" if self.earlier is not None else "neither"


@dataclass(frozen=True, slots=True)
class Reached:
    """How far the work has come: `stop` is the recorded pass, which then alone decides, `passed`
    how many passes are cut already."""

    stage: Stage = "cast"
    stop: int | None = None
    passed: int = 0


_CAST = Reached()


def judge_fill(
    pour: CastingPour,
    measured: float | Linear,
    cast: CastSection,
    *,
    level: float,
    reached: Reached = _CAST,
) -> FillAdvice:
    """Judge a measured fill against each possible stop of `pour.stops`, and work out what fixes it.

    `measured` is p in mm, within ± `FILL_ERROR` unless it carries its own errors; `level` (mm/m) is
    how far out of level the blank may be in a top-up. Raises ValueError where `pour.stops` is empty
    or does not contain the recorded stop.
    """
    if not pour.stops:
        raise ValueError(f"{pour.id}: no possible stops are known")
    p = measured
    if not isinstance(p, Linear):
        p += Linear.term("fill measured", FILL_ERROR)
    stage, stop = reached.stage, reached.stop
    missing = tuple(_missing(pour, p, limit) for limit in pour.stops)
    # Until the stop is recorded the lowest pass decides: there the resin must lie highest.
    number = pour.stops[-1].number if stop is None else stop
    decides = next((k for k, limit in enumerate(pour.stops) if limit.number == number), None)
    if decides is None:
        raise ValueError(f"{pour.id}: stop {stop} is no possible one")
    deciding = missing[decides]
    if deciding.verdict == "ok":
        return FillAdvice(
            pour.id, p, "ok", missing, deciding, None, None, said_all([_enough(pour, p, deciding)])
        )
    # Resin cannot be added once the deck is cut, nor a stop chosen that has been passed or made.
    top_up = (
        _top_up(pour, p, pour.stops[decides].p_limit.worst()[0], cast, level, stage)
        if stage != "C"
        else None
    )
    ahead = [found for found in missing[:decides] if found.number >= reached.passed]
    earlier = _earlier(ahead) if stop is None and stage in ("cast", "B") else None
    says = _says(pour, p, deciding, top_up, earlier, reached)
    return FillAdvice(pour.id, p, deciding.verdict, missing, deciding, top_up, earlier, says)


def common_stop(advices: Sequence[FillAdvice]) -> int | None:
    """Return the last pass at which the fill of all castings is high enough, since there is one
    stop for all of them; None if there is none."""
    good = [
        {m.number for m in advice.missing if m.verdict == "ok" and m.shows != "no"}
        for advice in advices
    ]
    shared = set.intersection(*good) if good else set()
    return max(shared, default=None)


def _missing(pour: CastingPour, p: Linear, limit: StopLimit) -> Missing:
    room = limit.p_limit - p
    worst = max(0.0, -room.worst()[0])
    verdict: Verdict = "ok" if worst <= TIE else "caution" if room.rss()[0] >= -TIE else "fail"
    return Missing(
        number=limit.number,
        plane=limit.plane,
        p_limit=limit.p_limit.nominal,
        value=max(0.0, -room.nominal),
        worst=worst,
        volume=pour.area * worst / 1000.0,
        verdict=verdict,
        shows=limit.shows,
    )


def _earlier(missing: Sequence[Missing]) -> Missing | None:
    """Return the last of these passes at which nothing is missing and the castings may show."""
    return next(
        (found for found in reversed(missing) if found.verdict == "ok" and found.shows != "no"),
        None,
    )


def _top_up(
    pour: CastingPour, p: Linear, allowed: float, cast: CastSection, level: float, stage: Stage
) -> TopUp | None:
    """Return the top-up that brings p down to `allowed` (mm); None if no top-up does.

    Poured to `line`, it cures to p = line + loss x (low - line) + rise at the high end, low being
    the resin's present depth.
    """
    low, loss = p.worst()[1], depth_loss(cast)
    rise = level / 1000.0 * pour.half_span + pour.uneven
    within: float | None = None
    dammed = cast.flush != "none"
    # Undammed resin cannot stand higher than `rise` below the raw top: it would run over the low
    # end. Behind a dam it may stand as proud as the job pours, but no prouder.
    least_line = min(cast.pour_short, 0.0) if dammed else rise
    # To the pour line or, where that is not enough, to the line at which p comes out as `allowed`.
    line = min(max(cast.pour_short, least_line), (allowed - rise - loss * low) / (1.0 - loss))
    # Higher than it can stand with this tilt: turn the question round and ask how level the blank
    # must be. Undammed, line = rise, so that both unknowns are one.
    if line < least_line - TIE:
        wanted = least_line if dammed else (allowed - loss * low) / (2.0 - loss)
        rise = allowed - wanted - loss * (low - wanted) if dammed else wanted
        if pour.half_span <= 0 or rise <= pour.uneven:
            return None
        line, within = wanted, (rise - pour.uneven) / pour.half_span * 1000.0
    raises = p.nominal - line
    if raises <= TIE:
        return None
    volume = pour.area * raises / 1000.0
    p_after = line + loss * (low - line) + rise
    mixed = parts(volume, cast)
    return TopUp(
        line, raises, volume, mixed, mixed.weighable(), p_after, _WHEN[stage], _STEPS, within
    )


def _enough(pour: CastingPour, p: Linear, deciding: Missing) -> str:
    return (
        f"{pour.id}: the resin lies {mm(p.nominal):.2f} below the raw top, "
        f"{mm(deciding.p_limit):.2f} is allowed "
        f"after the pass at {mm(deciding.plane):.2f}: high enough"
    )


def _says(
    pour: CastingPour,
    p: Linear,
    deciding: Missing,
    top_up: TopUp | None,
    earlier: Missing | None,
    reached: Reached,
) -> tuple[str, ...]:
    plane = "the recorded stop" if reached.stop is not None else "the lowest pass"
    found = "is" if deciding.verdict == "fail" else "may be"
    lines = [
        f"{pour.id} {found} too low: the resin lies {mm(p.nominal):.2f} below the raw top; "
        f"{plane}, {mm(deciding.plane):.2f}, allows {mm(deciding.p_limit):.2f}, and with all "
        f"errors against it {mm(deciding.worst):.2f} is missing, {deciding.volume:.2f} cm³"
    ]
    if top_up is not None:
        lines.append(_top_up_words(top_up))
    if earlier is not None:
        lines.append(
            f"an earlier stop fixes it: stop after the pass at {mm(earlier.plane):.2f} or before, "
            f"if all castings show by then ({_LIKELY[earlier.shows]})"
        )
    if top_up is None and earlier is None:
        lines.append(_neither(reached.stage))
    return said_all(lines)


_LIKELY = {
    "surely": "they surely do",
    "likely": "they likely do",
    "perhaps": "only in the best case",
}


def _top_up_words(top_up: TopUp) -> str:
    mixed, weigh = top_up.mixed, top_up.weigh
    level = (
        ""
        if top_up.within is None
        else f" with the blank level within {out_of_level(top_up.within):.2f~},"
    )
    more = (
        ""
        if weigh == mixed
        else f" (too little to weigh true: mix {weigh.a_g:.1f} g A and {weigh.b_g:.1f} g B)"
    )
    return (
        f"a top-up fixes it: pour to {mm(top_up.line):.2f} below the raw top,{level} "
        f"{mm(top_up.raises):.2f} more, at most {top_up.volume:.2f} cm³: {mixed.a_g:.2f} g A and "
        f"{mixed.b_g:.2f} g B with the extra{more}; {top_up.when}"
    )


def _neither(stage: Stage) -> str:
    if stage == "C":
        return (
            "the deck is cut: fill the hollow over it by hand and plane it to the deck "
            "before lay-up"
        )
    return (
        "neither a top-up nor an earlier stop fixes it: pour proud and plane it off (cast.flush), "
        "or place it where the deck is lower"
    )
