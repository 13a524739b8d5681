"""What the page shows of a job that is worked out: verdict, tightest margins, odds, fixes,
drawings. Plain JSON types; texts and figures in the job's units."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from corepath.editing.page_drawings import (
    Drawn,
    cross_drawing,
    long_drawing,
    plan_drawing,
    stack_drawing,
)
from corepath.errors import Fault
from corepath.lengths import Units, in_unit, marked, unit_word, units_of
from corepath.planning.prepare import Prepared
from corepath.stackup.advice.fix import Fix, Fixes
from corepath.stackup.checks.verdict import Check
from corepath.stackup.odds.odds import Odds, odds_words
from corepath.stackup.odds.outcome import answer_of, tightest_of
from corepath.views.drawings.scene import Scene

__all__ = ["cross", "drawings", "faults", "fixes", "odds", "scene_of", "verdict"]

_WORDS = {
    "ready": "Ready to cut: all checks hold with every error against you",
    "with care": "With care: some checks hold only if not all errors add up",
    "accepted": "At a risk that the job accepts",
    "no": "Not as it is",
}

_SHORT = 10
"""Letters of a place that stands beside its check: `P1a`, not a sentence."""


def verdict(prepared: Prepared) -> dict[str, Any]:
    """Return answer, the checks that do not hold, and the tightest three."""
    units, checks = units_of(prepared.job.units), prepared.checks
    answer = answer_of(checks, prepared.accepted)
    wrong = [check for check in checks if check.verdict != "ok"]
    return {
        "answer": answer,
        "words": _WORDS[answer],
        "wrong": list(dict.fromkeys(check.id for check in wrong)),
        "tightest": [_check(one.check, one.driven_by, units) for one in tightest_of(checks)],
        "cautions": [units.text(marked(one)) for one in prepared.cautions],
        "digest": prepared.digest,
    }


def _check(check: Check, driven_by: str, units: Units) -> dict[str, Any]:
    def figure(value: float) -> str:
        return units.text(f"{in_unit(value, check.unit):.2f}")

    where = units.text(marked(check.where))
    return {
        "id": check.id,
        "where": where if len(where) <= _SHORT else "",
        "verdict": check.verdict,
        "value": figure(check.value),
        "worst": figure(check.worst),
        "limit": figure(check.limit),
        "unit": units.text(unit_word(check.unit)),
        "driven_by": driven_by or units.text(marked(check.where)),
        "says": units.text(marked(check.message)),
    }


def odds(found: Odds) -> dict[str, Any]:
    """Return how likely the core comes out, in words, and what spoils the others."""
    return {
        "words": f"Comes out in {odds_words(found.share)}",
        "share": found.share,
        "spoilers": [
            f"{one.check}{f' {one.where}' if one.where else ''}: {100.0 * one.share:.1f} of 100"
            for one in found.spoilers[:3]
            if one.share >= 0.0005
        ],
    }


def fixes(found: Fixes, name: str) -> dict[str, Any]:
    """Return every fix with the values that it sets, as typed, or how near any came."""
    units = units_of(name)
    nearest = found.nearest
    return {
        "found": [_fix(one, units) for one in found.found],
        "nearest": "" if nearest is None else units.text(marked(nearest.message)),
    }


def _fix(one: Fix, units: Units) -> dict[str, Any]:
    typed = (text.partition("=") for text in one.typed(units))
    return {
        "says": units.text(marked(one.message)),
        "values": {key: value for key, _, value in typed},
        "measure": one.measure,
    }


def drawings(prepared: Prepared, wide: float, narrow: float, at: float) -> dict[str, Any]:
    """Return all drawings: plan and long section `wide` mm wide, cross section at X `at` (mm) and
    heights `narrow` mm wide."""
    scene = scene_of(prepared)
    made = {
        "plan": plan_drawing(scene, wide),
        "long": long_drawing(scene, wide),
        "cross": cross_drawing(scene, narrow, at),
        "stack": stack_drawing(scene, narrow),
    }
    return {name: _drawn(one, prepared) for name, one in made.items()}


def cross(prepared: Prepared, narrow: float, at: float) -> dict[str, Any]:
    """Return the cross section at X `at`, mm, alone."""
    return _drawn(cross_drawing(scene_of(prepared), narrow, at), prepared)


def scene_of(prepared: Prepared) -> Scene:
    """Return the board deck up, in the board frame."""
    return Scene(prepared.job, prepared.board, prepared.stackup, "A")


def _drawn(one: Drawn, prepared: Prepared) -> dict[str, Any]:
    text = units_of(prepared.job.units).text
    return {
        "width": one.width,
        "height": one.height,
        "svg": text(one.svg),
        "across": list(one.across),
        "up": list(one.up),
        "title": text(one.title),
        "columns": dict(one.columns),
    }


def faults(found: Iterable[Fault], units: Units) -> list[dict[str, Any]]:
    """Return faults with key, line and what is allowed."""
    return [
        {
            "key": one.key,
            "line": one.line,
            "says": units.text(marked(one.message)),
            "value": units.text(marked(one.value)),
            "allowed": units.text(marked(one.allowed)),
        }
        for one in found
    ]
