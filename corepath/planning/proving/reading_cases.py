"""The other cases on which a plan's files are tried: other stops, and the blank as thin and as
thick as it may be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.findings import Finding
from corepath.lengths import Said, mm
from corepath.planning.prepare import Prepared
from corepath.readback.cases import new_findings, read_cases
from corepath.readback.plan_files import PlanFiles
from corepath.readback.result import Case, CaseOutcome, ReadBack
from corepath.readback.simulation_setup import SimulationSetup
from corepath.stackup.measuring.blank import Blank
from corepath.stock.material import BlankFaces

__all__ = ["Tried", "lies_of", "try_cases", "with_cases"]

_IN_A = frozenset(("dowels", "plug-pockets", "groove"))

Floats = NDArray[np.float64]

Tried = tuple[tuple[tuple[Finding, ...], Mapping[str, float], bool], ...]
"""What each case gives but the case itself, in their order: a case holds the measured blank as a
function, which no other process can hand over."""


def _cases_of(prepared: Prepared, shop: SimulationSetup) -> tuple[Case, ...]:
    """Return the cases: earliest, likely and latest stop except the planned one; the thinnest and
    the thickest blank.

    A recorded stop leaves no other. Once something has been cut in A, the depths of its pockets
    belong to the real blank, and another thickness would be no case of this plan.
    """
    skim, blank = prepared.stackup.skim, prepared.stackup.heights.blank
    cases: list[Case] = []
    if not skim.recorded and "skim" not in shop.done:
        stops = {skim.earliest: "earliest", skim.likely: "likely", skim.latest: "latest"}
        for stop, name in sorted((stop, name) for stop, name in stops.items() if stop is not None):
            if stop != skim.planned_stop:
                cases.append(
                    Case(
                        f"{name} stop",
                        Said(f"if the skim stops at {mm(skim.planes[stop - 1]):.2f}"),
                        stop,
                    )
                )
    if not _IN_A & shop.done:
        for name, sign in (("thinnest blank", -1.0), ("thickest blank", 1.0)):
            cases.append(_blank(name, sign, blank, shop, skim.planned_stop))
    return tuple(cases)


def _blank(name: str, sign: float, blank: Blank, shop: SimulationSetup, stop: int) -> Case:
    """Return the case of a blank whose thickness is off by its whole error, `sign` 1 or -1."""
    x, y = shop.touch_at or (0.0, 0.0)
    error = float(blank.thickness_error(x, y))
    thickness = float(blank.thickness(x, y)) + sign * error
    says = f"on a blank of {mm(thickness):.2f}" + (" at the touch" if shop.lies is not None else "")
    return Case(
        name, Said(says), stop, sign * error, None if shop.lies is None else lies_of(blank, sign)
    )


def lies_of(blank: Blank, sign: float = 0.0) -> BlankFaces:
    """Return a function for the lower and upper face (x, y to z, mm) of a measured blank as it lies
    in A; with `sign` 1 or -1 its thickness is off by its error."""

    def faces(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        top = blank.raw_top(x, y)
        off = sign * blank.thickness_error(x, y) if sign else 0.0
        return top - blank.thickness(x, y), top + off

    return faces


def try_cases(prepared: Prepared, shop: SimulationSetup, files: PlanFiles) -> Tried:
    """Read the files back in all cases; another process may do it."""
    outcomes = read_cases(shop, prepared.works, files, _cases_of(prepared, shop))
    return tuple((one.findings, one.figures, one.again) for one in outcomes)


def with_cases(
    prepared: Prepared, shop: SimulationSetup, readback: ReadBack, tried: Tried
) -> ReadBack:
    """Return the read-back with the findings that only the other cases have."""
    cases = _cases_of(prepared, shop)
    outcomes = tuple(CaseOutcome(case, *found) for case, found in zip(cases, tried, strict=True))
    readback.findings.extend(new_findings(outcomes, readback.findings))
    return replace(readback, cases=outcomes)
