"""The file of all passes of the skim: each plane where the shop may stop, and the stops themselves.

The small plan of our own: planes 11.2, 10.5 and 10.0, first stop after the second.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from corepath.readback.surfaces.passes import Passes

ALL = "05-B-skim-all.nc"


def found(plan, text: str) -> list[str]:
    """What is found in the file of all passes: kinds, each with the plane or planes that it
    names."""
    result = plan.with_file(ALL, text).read()
    assert {one.file for one in result.findings} <= {ALL}
    return [f"{one.kind}: {one.message}" for one in result.findings]


def planned(plan) -> str:
    """The file with the one stop that is planned, after the second of three passes."""
    return without_stop(plan.files[ALL], 0)


def at_plane(text: str, plane: float, other: float) -> str:
    return text.replace(f"G1 Z{plane:.4f}", f"G1 Z{other:.4f}")


@pytest.mark.parametrize("other", [10.53, 10.47, 10.01, 11.1])
def test_a_plane_before_a_stop_is_held_to_its_height(plan, other):
    """Whoever ends at that stop has a core off by as much; the passes after it hide it."""
    some = found(plan, at_plane(planned(plan), 10.5, other))
    assert all(one.startswith("plane") for one in some)
    assert any(f"{other:.3f}, 10.500 wanted" in one for one in some), some


def test_a_plane_that_nobody_looks_at_is_held_too(plan):
    """The first pass of a stretch that is cut through: too low, it takes away what the next was to
    take."""
    assert any(
        "11.000, 11.200 wanted" in one for one in found(plan, at_plane(plan.files[ALL], 11.2, 11.0))
    )


def test_a_plane_within_what_a_machine_holds_is_no_finding(plan):
    """0.015 is less than the 0.02 that floors and planes are allowed."""
    assert found(plan, at_plane(plan.files[ALL], 10.5, 10.485)) == []


def without_stop(text: str, number: int) -> str:
    """The text without its M0 of this number, from 0, those before the spindle turns not
    counted."""
    lines = text.split("\n")
    turns = next(k for k, line in enumerate(lines) if line.endswith("M3"))
    at = [k for k, line in enumerate(lines) if line == "M0" and k > turns][number]
    return "\n".join(lines[:at] + lines[at + 1 :])


@pytest.mark.parametrize("other", [10.5, 10.47, 10.53, 10.1])
def test_a_stop_lost_is_found_wherever_the_plane_before_it_lies(plan, other):
    """A plane 0.03 off was taken for no plane, and its stop for not needed."""
    text = at_plane(without_stop(planned(plan), 0), 10.5, other)
    assert any(one.startswith("missing-stop") for one in found(plan, text))


def test_a_stop_more_than_planned_is_no_finding(plan):
    """A stop after the first pass, where nobody need look."""
    assert found(plan, plan.files[ALL]) == []
    assert found(plan, planned(plan)) == []


def test_a_stop_in_the_middle_of_a_pass_serves_for_none(plan):
    """It stops, but half of the blank stands a pass higher: who looks there sees wood and goes
    on."""
    lines = without_stop(planned(plan), 0).split("\n")
    at = lines.index("G1 Z10.5000") + 6
    text = "\n".join([*lines[:at], "M5", "M0", "M3", "G4 P3", *lines[at:]])
    assert any(one.startswith("plane") for one in found(plan, text))


def test_a_plane_that_takes_layers_ends_with_its_last():
    """Two layers to a plane 1.4 below the one before are one pass: the first of them is no plane
    too low."""
    z = np.array([25.0, 11.2, 11.2, 10.5, 10.5, 9.8, 9.8, 25.0])
    end = np.column_stack([np.zeros(8), np.zeros(8), z])
    kind = np.array([0, 1, 1, 1, 1, 1, 1, 0], dtype=np.int8)
    path = SimpleNamespace(
        kind=kind, end=end, index=np.arange(8), program=SimpleNamespace(events=())
    )
    assert Passes((11.2, 9.8), 0, 0.7).ends(path) == [3, 8]
