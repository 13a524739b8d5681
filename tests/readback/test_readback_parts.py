"""Second files of an operation: read after the first, held to what is theirs, and not believed
about the rest."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely import Polygon

PLUG, INSERTS = "02-A-plug-pockets.nc", "06-B-inserts.nc"


def split_plug(plan, cleared: Polygon):
    """The plug pocket once more by a second file, which counts `cleared` as cut by the first."""
    first = next(work for work in plan.works if work.name == "plug-pockets")
    second = replace(first, part=2, pockets=(replace(first.pockets[0], cleared=cleared),))
    works = (*plan.works, second)
    return replace(plan, works=works).with_file(f"{second.stem}.nc", plan.files[PLUG])


def split_inserts(plan):
    """The seat by the first file, the bore by the second, its top at the floor of the seat."""
    work = next(work for work in plan.works if work.name == "inserts")
    hole, text = work.holes[0], plan.files[INSERTS]
    seat, bore = hole.steps
    start, middle, end = (
        text.index("G0 X14"),
        text.index("G0 X14", text.index("G0 X14") + 1),
        text.index("M5\nM2"),
    )
    first = replace(work, holes=(replace(hole, steps=(seat,)),))
    second = replace(work, part=2, holes=(replace(hole, top=seat.floor, steps=(bore,)),))
    others = tuple(one for one in plan.works if one is not work)
    files = {INSERTS: text[:middle] + text[end:], "06-B-inserts-2.nc": text[:start] + text[middle:]}
    return replace(plan, works=(*others, second, first), files={**plan.files, **files})


def pocket(plan) -> Polygon:
    return next(work for work in plan.works if work.name == "plug-pockets").pockets[0].area


def test_second_file_of_a_pocket_reads_well(plan):
    """It comes after the first in whatever order the works are given, and its name belongs to the
    plan."""
    result = split_plug(plan, pocket(plan)).read()
    assert result.counts == {}, [str(finding) for finding in result.findings]
    assert [count.file for count in result.files][1:3] == [PLUG, "02-A-plug-pockets-2.nc"]


def test_what_no_file_cuts_is_not_cleared(plan):
    """A second file that takes for cut what the first was never to cut leaves it standing, and both
    would agree."""
    found = split_plug(plan, pocket(plan).buffer(0.5)).read()
    finding = next(one for one in found.findings if one.kind == "not-reached")
    assert finding.file == "02-A-plug-pockets-2.nc"
    assert "count as cleared" in finding.message


def test_bore_by_a_second_file(plan):
    """Seat and bore each in a file of its own give the same hole."""
    result = split_inserts(plan).read()
    assert result.counts == {}, [str(finding) for finding in result.findings]
    assert result.of("I1 hole diameter", "06-B-inserts-2.nc").value == pytest.approx(6.0, abs=5e-3)
    assert result.of("I1 hole floor", "06-B-inserts-2.nc").value == pytest.approx(2.0, abs=1e-3)


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [("06-B-inserts-2.nc", "Z-8.5000", "Z-8.2000"), (INSERTS, "Z-1.5000", "Z-1.4000")],
)
def test_fault_in_either_file_is_told_of_that_file(plan, name, old, new):
    """Else the shop would look in the wrong one."""
    found = split_inserts(plan).edited(name, old, new, 99).read()
    assert {finding.file for finding in found.findings if finding.kind == "seat"} == {name}


def test_second_file_missing_or_foreign(plan):
    """A file of the plan that is gone, and one that only looks like it."""
    split = split_inserts(plan)
    assert split.with_file("06-B-inserts-2.nc", None).read().counts["missing-file"] == 1
    assert split.with_file("06-B-inserts-3.nc", split.files["06-B-inserts-2.nc"]).read().counts == {
        "order": 1
    }
