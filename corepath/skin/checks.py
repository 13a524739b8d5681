"""The check `skin`, in three rows: bending strain, pressure, compression in the plane of the skin.

Each value is what is left to the limit, so that it holds at 0 or more. *Fail*: bending alone
exceeds the strain limit, or the plate alone needs more pressure than is at hand. *Caution*: it does
so only together with the strain or the pull that double curvature forces, or the skin is compressed
by more than its limit. What double curvature does is worked out for an edge that slides freely
until the resin grips, the mildest and the likeliest case, so it only cautions.
"""

from __future__ import annotations

from dataclasses import replace

from corepath.lengths import mm
from corepath.skin.study import SkinStudy
from corepath.stackup.checks.judge import AtLeast
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear

__all__ = ["skin_checks"]


def skin_checks(study: SkinStudy, fix: str = "") -> tuple[Check, ...]:
    """Returns the three rows; `fix` says what would make them pass."""
    return _bending(study, fix), _pressure(study, fix), _compression(study, fix)


def _bending(study: SkinStudy, fix: str) -> Check:
    bending, limit = study.bending, study.skin.strain_limit
    strain = bending.strain.value
    return _row(
        (limit - strain) * 100.0,
        (limit - study.together.value) * 100.0,
        unit="%",
        message=f"the deck bends it to R {mm(bending.radius):.0f~}, {strain:.2%} of {limit:.2%} "
        "allowed, "
        f"{study.together.value:.2%} with what double curvature adds",
        where=f"bend at {bending.strain.words}",
        fix=fix,
    )


def _pressure(study: SkinStudy, fix: str) -> Check:
    at_hand = study.skin.bar
    need, place = study.pressure.most.value, study.pressure.most
    # the place named is that of the figure that decides
    if need <= at_hand < study.most_all.value:
        place = study.most_all
    return _row(
        at_hand - need,
        at_hand - max(study.most_all.value, need),
        unit="bar",
        message=f"to follow the deck it needs {need:.2f} bar, {study.most_all.value:.2f} bar with "
        f"what double curvature adds (means over {mm(study.pressure.length):.0f~}); {at_hand:.2f} "
        "bar at hand",
        where=f"press at {place.words}",
        fix=fix,
    )


def _compression(study: SkinStudy, fix: str) -> Check:
    limit, most = study.skin.compression_limit, study.compression
    room = (limit - most.value) * 100.0
    row = _row(
        room,
        room,
        unit="%",
        message=f"double curvature presses it together by {most.value:.2%}, {limit:.2%} allowed "
        "before it may wrinkle, "
        f"and stretches it by {study.tension.value:.2%}",
        where=f"squeeze at {most.words}",
        fix=fix,
    )
    return row if row.verdict == "ok" else replace(row, verdict="caution")


def _row(value: float, worst: float, *, unit: str, message: str, where: str, fix: str) -> Check:
    """`worst` is with the membrane's part: ok if even that holds, caution if only `value` does."""
    judged, together = (
        AtLeast(Linear.of(room), 0.0, unit).check("skin", message=message, where=where, fix=fix)
        for room in (value, worst)
    )
    if judged.verdict == "ok" and together.verdict != "ok":
        return replace(together, verdict="caution", value=value, worst=worst, rss=value)
    return replace(judged, worst=worst)
