"""The whole read-back on a small plan of our own: no false alarm, right figures, every kind of
finding."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from shapely import box

from corepath.gcode.read.findings import KINDS, Findings
from corepath.motion.cutter import Cutter
from corepath.readback.plan_files import PlanFiles
from corepath.reported import reported
from corepath.work.works import Obstacle

GROOVE, PLUG, SKIM, ALL, INSERTS, DECK = (
    "03-A-groove.nc", "02-A-plug-pockets.nc", "05-B-skim-pass-1.nc", "05-B-skim-all.nc",
    "06-B-inserts.nc",
    "08-C-deck.nc",
)  # fmt: skip


@pytest.mark.parametrize("flip", ["x", "y"])
@pytest.mark.parametrize("xy", ["middle", "front-left"])
@pytest.mark.parametrize("z", ["bed", "face"])
def test_a_good_plan_has_no_findings(plan_maker, flip, xy, z):
    """A false alarm withdraws a good plan; any zero and either flip must give the same board."""
    result = plan_maker(flip, xy, z).read()
    assert result.counts == {}, [str(finding) for finding in result.findings]
    assert result.ok


def test_measures_are_those_of_the_plan(plan):
    """The figures go on the shop's sheet."""
    result = plan.read()
    assert result.of("groove floor low").value == pytest.approx(1.2, abs=1e-4)
    assert result.of("groove outer wall").deviation == pytest.approx(0.0, abs=1e-3)
    assert result.of("I1 seat diameter").value == pytest.approx(10.0, abs=5e-3)
    assert result.of("I1 seat floor").value == pytest.approx(9.0, abs=1e-4)
    assert result.of("plane high", "05-B-skim-pass-2.nc").value == pytest.approx(10.5, abs=1e-4)
    assert result.of("deck low").value == pytest.approx(0.0, abs=1e-4)
    counts = dict(result.of("deck low").extra)["counts"]
    solid = result.remaining["C"].top
    assert sum(counts) == (solid == solid).sum(), "the histogram counts every column that is left"


def test_the_casting_shows_when_the_floor_is_passed(plan):
    """Groove depth 10.8: not at the plane of 11.2, wholly at 10.5."""
    result = plan.read()
    assert result.of("groove shows", "05-B-skim-pass-1.nc").value == 0.0
    assert result.of("groove shows", "05-B-skim-pass-2.nc").value == 1.0
    assert result.of("P1 shows", "05-B-skim-all.nc").value == 1.0


def test_the_report_entry_is_plain_data(plan):
    """report.json is read by strangers."""
    entry = json.loads(json.dumps(reported(plan.read())))
    assert entry["ok"] is True
    assert {"file", "lines", "motions", "cut_length"} <= entry["files"][0].keys()


def test_remaining_is_the_finished_core(plan):
    """What is left in C: 8.0 thick, the bore open, casting in the ring."""
    rest = plan.read().remaining["C"]
    assert rest.top[rest.grid.at(0, 28)] == pytest.approx(8.0)
    assert rest.bottom[rest.grid.at(0, 28)] == pytest.approx(0.0, abs=1e-5)
    assert rest.top[rest.grid.at(14, -3)] != rest.top[rest.grid.at(14, -3)], (
        "the bore is where it belongs, deck up"
    )
    assert rest.bottom[rest.grid.at(14, 1)] == pytest.approx(1.5), "the seat is cut from below"


IN_WOOD = "G1 X33.0000 Y18.0000 Z10.0000"  # 2 deep, the raw top at 12


def cases():
    """Each fault: the file, what to replace, by what, the finding that must come."""
    return [
        (
            GROOVE,
            "G0 X-33 Y-18 Z25\nG1 X-33.0000 Y-18.0000 Z10.0000",
            "G0 X-33 Y-18 Z10\nG1 X-33.0000 Y-18.0000 Z10.0000",
            "plunge-at-rapid",
        ),
        (GROOVE, "G1 X33.0000 Y-18.0000 Z10.0000", "G0 X33.0000 Y-18.0000 "
                                                   "Z10.0000", "rapid-through-material"),
        (GROOVE, "S18000 M3\n", "S18000\n", "spindle-off"),
        (GROOVE, "S18000 M3\n", "M3\n", "spindle-off"),
        (GROOVE, "G4 P3\n", "", "spindle-not-up"),
        (GROOVE, "G4 P3\n", "G4 P1\n", "spindle-not-up"),
        (GROOVE, "F1500\n", "F1500\nS9000\n", "speed-off"),
        (GROOVE, "F1500\n", "F1500\nS0\n", "spindle-off"),
        (GROOVE, "G49\n", "T1\nG43 H2\n", "length-offset"),
        (GROOVE, "M5\nM2", "M2", "stop-with-spindle-on"),
        (GROOVE, "G0 Z25\nM5\nM2", "M5\nM2", "stop-low"),
        (ALL, "M5\nM0\n", "", "missing-stop"),
        (INSERTS, "M2\n", "", "missing-stop"),
        (GROOVE, "(test)\n", "(File: 02-A-plug-pockets.nc)\n", "order"),
        (GROOVE, "(test)\n", "(Zero lies at X0.0000 Y0.0000 Z0.0300 mm from the middle of the)\n(  "
                             "bed)\n", "zero"),
        (GROOVE, "F1500\n", "", "feed-missing"),
        (GROOVE, "F1500\n", "F15000\n", "feed-too-high"),
        (GROOVE, "F1500\n", "F1900\n", "feed-too-high"),
        (GROOVE, "S18000 M3\n", "S24000 M3\n", "speed-off"),
        (GROOVE, "M2\n", "", "missing-end"),
        (GROOVE, "G21\n", "", "units"),
        (GROOVE, "G17\n", "", "preamble"),
        (GROOVE, "T1 M6\n", "", "unknown-cutter"),
        (GROOVE, "T1 M6\n", "T9 M6\n", "unknown-cutter"),
        (GROOVE, "T1 M6\n", "T2 M6\n", "wrong-cutter"),
        (GROOVE, "T1 M6\nM0\n", "T1\nM6\n", "missing-stop"),
        (INSERTS, "T1 M6\nM0\n", "T1 M6\n", "missing-stop"),
        (GROOVE, "G54\n", "G55\n", "zero"),
        (GROOVE, "G1 X33.0000 Y-18.0000 Z1.2000", "G1 X33.1000 Y-18.0000 Z1.2000", "width"),
        (
            GROOVE,
            "G1 X33.0000 Y-18.0000 Z1.2000\nG1 X33.0000 Y18.0000 Z1.2000",
            "G1 X32.8500 Y-18.0000 Z1.2000\nG1 X32.8500 Y18.0000 Z1.2000",
            "width",
        ),
        (GROOVE, "G1 X31.0000 Y16.0000 Z1.2000", "G1 X31.0000 Y16.0000 Z1.1000", "floor"),
        (GROOVE, "G1 X31.0000 Y16.0000 Z1.2000", "G1 X31.0000 Y16.0000 Z0.2000", "below-lowest"),
        (GROOVE, "G1 X31.0000 Y16.0000 Z1.2000", "G1 X31.0000 Y16.0000 Z-19.0000", "spoil-board"),
        (GROOVE, "G1 X31.0000 Y16.0000 Z1.2000", "G1 X31.0000 Y6.0000 Z1.2000", "outside-area"),
        (GROOVE, "G1 X31.0000 Y16.0000 Z1.2000", "G1 X310.0000 Y16.0000 Z1.2000", "travel"),
        (GROOVE, "G0 Z25\nM5", "M0\nG0 Z25\nM5", "stop-with-spindle-on"),
        (GROOVE, "G0 Z25\nM5", "M5\nM0\nG0 Z25", "stop-low"),
        (GROOVE, "G0 Z25\nM5", "M5\nG0 Z25", "stop-low"),
        (GROOVE, IN_WOOD, f"{IN_WOOD}\nM5\nS18000 M3\nG4 P3", "stop-low"),
        (GROOVE, IN_WOOD, f"{IN_WOOD}\nG4 P5", "stop-low"),
        (GROOVE, "G0 X-33 Y-18\n", "G92 X0\n", "unsupported"),
        (GROOVE, "G0 X-33 Y-18\n", "G0 X-33 Y-18 ;\n", "syntax"),
        (GROOVE, "G0 X-33 Y-18\n", "/G0 X-33 Y-18\n", "block-delete"),
        (GROOVE, "M2\n", "M2\nG0 Z-5\n", "after-end"),
        (GROOVE, "G0 X-33 Y-18\nG0 X-33 Y-18 Z25", "G1 X-33 Y-18 Z10", "start-unknown"),
        (GROOVE, "G0 Z25\n", "G0 Z5\n", "rapid-through-material"),
        (PLUG, "G3 X-16.0000 Y4.0000 I-4.0000 J0", "G3 X-16.0000 Y4.0000 I-4.0500 "
                                                   "J0", "arc-mismatch"),
        (PLUG, "G1 X-8.0000 Y4.0000 Z1.2000", "G1 X-8.0000 Y4.0000 Z6.0000", "floor"),
        (SKIM, "G1 Z11.2000", "G1 Z11.1500", "plane"),
        (SKIM, "G1 X60 Y30.0000\nG1 X-60 Y30.0000\n", "", "plane"),
        (INSERTS, "Z-1.5000", "Z-1.6000", "seat"),
        (INSERTS, "G3 X11.0000 Y3.0000 I-3.0000 J0\nG3 X17.0000 Y3.0000 I3.0000 J0\n", "", "seat"),
        (INSERTS, "Z-8.5000", "Z-7.5000", "seat"),
        (INSERTS, "X14.0000 Y3.0000", "X24.0000 Y3.0000", "outside-area"),
        (DECK, "G1 Z8.0000", "G1 Z7.9500", "deck-height"),
        (DECK, "G1 Z8.0000", "G1 Z8.1000", "deck-height"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "old", "new", "kind"), cases(), ids=lambda value: value if value in KINDS else None
)
def test_each_fault_is_found_in_its_file(plan, name, old, new, kind):
    """A fault that passes here would be cut."""
    count = 99 if name in (INSERTS, ALL) else 1
    found = plan.edited(name, old, new, count).read()
    assert kind in found.counts, [str(finding) for finding in found.findings]
    assert any(finding.kind == kind and finding.file == name for finding in found.findings)


def test_line_and_place_of_a_gouge(plan):
    """The message must lead to the line."""
    found = plan.edited(
        GROOVE, "G1 X31.0000 Y16.0000 Z1.2000", "G1 X31.0000 Y16.0000 Z0.9000"
    ).read()
    finding = next(finding for finding in found.findings if finding.kind == "floor")
    text = plan.files[GROOVE].split("\n")
    assert finding.line is not None
    assert text[finding.line - 1].startswith(
        ("G1 X31.0000 Y16.0000 Z1.2000", "G1 X-31.0000 Y16.0000 Z1.2000")
    )
    assert finding.depth == pytest.approx(0.3, abs=0.02)
    assert finding.place is not None
    assert abs(finding.place[0] - 31) <= 2.1


def test_missing_extra_and_changed_files(plan):
    """A plan of which a file is gone, foreign or edited is no plan."""
    assert plan.with_file(DECK, None).read().counts["missing-file"] == 1
    assert plan.with_file("99-X.nc", "M2\n").read().counts == {"order": 1}
    from corepath.readback.measure import read_back

    found = read_back(plan.shop, plan.works, PlanFiles(plan.files, sha256={DECK: "0" * 64}))
    assert found.counts == {"changed": 1}


def with_heads(plan, **of):
    """All files with heads of one plan; `of` names another plan for some."""
    for name in plan.files:
        digest = of.get(name[3:].split(".")[0].replace("-", "_"), "aaaa1111")
        head = (
            f"(File: {name})\n(Plan: {digest})\n(Zero lies at X0.0000 Y0.0000 Z0.0100 mm from the "
            "middle)\n(  of it)\n"
        )
        plan = plan.with_file(
            name,
            head.replace("Z0.0100", "Z10.5100" if name == INSERTS else "Z0.0100")
            + plan.files[name],
        )
    return plan


def test_files_of_two_plans(plan):
    """Each is good by itself; together they are of two boards. Zeros 0.01 off are as good as the
    touch."""
    from corepath.readback.measure import read_back

    assert with_heads(plan).read().counts == {}
    found = with_heads(plan, A_groove="bbbb2222").read()
    assert found.counts == {"mixed-plans": 1}
    assert next(iter(found.findings)).file == GROOVE
    good = with_heads(plan)
    assert read_back(good.shop, good.works, PlanFiles(good.files, "cccc3333")).counts == {
        "mixed-plans": len(good.files)
    }


def test_files_that_changed_names(plan):
    """Two files swapped on the way to the machine: cut in the wrong order, whatever they do to the
    wood."""
    good = with_heads(plan)
    swapped = good.with_file(GROOVE, good.files[PLUG]).with_file(PLUG, good.files[GROOVE])
    named = {one.file for one in swapped.read().findings if one.kind == "order"}
    assert named == {GROOVE, PLUG}


def test_collet_into_an_obstacle(plan):
    """A clamp that the cutter clears and the nut does not; one that stands lower; one that is
    farther off."""
    from dataclasses import replace

    def read(height: float, left: float, out: float = 12.0):
        cutters = {**plan.shop.cutters, 1: replace(plan.shop.cutters[1], stick_out=out)}
        clamp = Obstacle(box(left, -25, left + 6, -17), height)
        works = tuple(
            replace(one, obstacles=(clamp,)) if one.name == "groove" else one for one in plan.works
        )
        return set(replace(plan, works=works).with_shop(cutters=cutters).read().counts)

    assert read(16.0, 40.0) == {"collet"}
    assert read(13.1, 40.0) == set()
    assert read(16.0, 54.0) == set()
    assert read(16.0, 40.0, 30.0) == set()


def test_collet_into_the_stock_beside(plan):
    """The groove's floor is at 1.2, the blank 12 thick: a cutter 10.8 long out of a collet 40 wide
    just clears."""
    from dataclasses import replace

    def read(out: float):
        cutters = {
            **plan.shop.cutters,
            1: replace(plan.shop.cutters[1], stick_out=out, cutting_length=out),
        }
        return [
            one for one in plan.with_shop(cutters=cutters).read().findings if one.kind == "collet"
        ]

    assert not read(10.81)
    found = [one for one in read(10.5) if one.file == GROOVE]
    beside = [one for one in found if "beside" in one.message]
    assert beside and all(
        one.place[2] == pytest.approx(1.2) and one.depth == pytest.approx(0.3) for one in beside
    )


def test_depth_past_the_edges_and_into_the_collet(plan):
    """The groove is 10.8 deep: edges of 10 are too short, and so is a stick-out of 10."""
    for edges, out, kinds in (
        (10.8, 30.0, set()),
        (10.0, 30.0, {"too-deep-for-cutter"}),
        (10.9, 10.0, {"collet"}),
    ):
        cutters = {
            **plan.shop.cutters,
            1: Cutter(1, "flat", 4.0, 0.0, 2, edges, out, centre_cutting=True),
        }
        assert set(plan.with_shop(cutters=cutters).read().counts) == kinds


def test_zero_is_derived_not_believed(plan, plan_maker):
    """A file and a plan that agree on a wrong zero are still wrong."""
    face = plan_maker("x", "middle", "face")
    assert set(face.with_shop(z_zero="bed").read().counts) >= {"zero"}
    assert "zero" in plan.with_shop(planned_pass=1).read().counts, (
        "inserts hang on the plane where the skim stopped"
    )
    assert "zero" in plan.with_shop(xy_zero="front-left").read().counts


def test_flip_about_the_wrong_axis_is_found(plan):
    """Works and files that agree on a wrong mirror: the bore is open, but not where the board has
    it."""
    assert plan.read().counts == {}
    found = plan.with_shop(flip_about="y").read()
    assert found.counts == {"bore-closed": 1}
    finding = next(iter(found.findings))
    assert finding.place == (14.0, -3.0, 0.0)


def test_bore_that_stays_closed_is_found(plan):
    """A bore that ends under the deck must be opened by the deck pass."""
    shallow = plan.edited(INSERTS, "Z-8.5000", "Z-2.4000", 99)
    assert "bore-closed" in shallow.read().counts


def test_obstacles_are_kept_off(plan):
    """A clamp under the cutter's way."""
    from dataclasses import replace

    works = tuple(
        replace(work, obstacles=(Obstacle(box(30, -25, 36, -17), 16.0),))
        if work.name == "groove"
        else work
        for work in plan.works
    )
    assert set(replace(plan, works=works).read().counts) == {"obstacle"}


def test_each_kind_keeps_its_first_hundred_and_counts_all():
    """A bad file must give a short answer."""
    findings = Findings("a.nc")
    for line in range(250):
        findings.add("syntax", "x", line=line)
    other = Findings()
    other.add("zero", "z")
    other.extend(findings)
    assert len(other) == 101
    assert other.counts == {"zero": 1, "syntax": 250}
    with pytest.raises(KeyError):
        findings.add("no-such-kind", "x")


def test_same_input_same_answer(plan):
    """The report is compared byte by byte."""
    assert json.dumps(reported(plan.read())) == json.dumps(reported(plan.read()))


def test_every_kind_of_finding_is_shown_to_come():
    """A kind that no test brings about may be one that cannot come."""
    elsewhere = {  # those of the engagement in test_readback_working
        "collet",
        "too-deep-for-cutter",
        "obstacle",
        "bore-closed",
        "missing-file",
        "mixed-plans",
        "changed",
        "not-reached",
        "direction",
        "engagement",
        "feed-too-low",  # test_readback_feeds
        "first-way",  # test_first_way
        "layer-missed",
        "load",  # test_readback_load
        "path-mode",
        "peck",
        "plunge",
        "rehearsal",  # tests/planning/test_rehearsal
        "steep-ramp",
        "touch",  # tests/planning/test_touch_files
        "words",  # test_readback_spoken
    }
    assert {kind for *_, kind in cases()} | elsewhere == set(KINDS)


def test_a_file_that_may_leave_its_path_is_found_where_the_job_asks_it_not_to(plan):
    """G64 where machine.exact_path asks for G61: corners are cut as round as the control likes."""
    exact = plan.with_shop(exact_path=True)
    files = {name: text.replace("G64\n", "G61\n") for name, text in plan.files.items()}
    good = replace(exact, files=files)
    assert good.read().counts == {}
    found = good.with_file(GROOVE, plan.files[GROOVE]).read().findings
    assert [(one.kind, one.file) for one in found] == [("path-mode", GROOVE)]
    found = plan.with_file(GROOVE, files[GROOVE]).read().findings
    assert [(one.kind, one.file) for one in found] == [("path-mode", GROOVE)], (
        "the cutter stands at each corner"
    )


def test_with_lengths_in_the_control_m6_alone_fits_the_cutter(plan):
    """Nobody touches Z there; with neither M6 nor a stop the spindle starts with whatever cutter it
    holds."""
    held = plan.with_shop(length_offset=True)
    files = {
        name: re.sub(
            r"T(\d) M6\nM0\n",
            r"T\1 M6\nG43 "
            r"H\1\n",
            text,
        )
        for name, text in plan.files.items()
    }
    good = replace(held, files=files)
    assert good.read().counts == {}
    bare = files[GROOVE].replace("T1 M6\n", "T1\n")
    assert [one.kind for one in good.with_file(GROOVE, bare).read().findings] == ["missing-stop"]


def test_a_file_of_all_passes_without_a_motion_is_told(plan):
    """An empty file, or a head alone, broke the read-back off with a traceback."""
    for text in ("", "(a head)\nM2\n"):
        assert plan.with_file(ALL, text).read().counts["missing-stop"] >= 1


def test_what_is_not_reached_is_found(plan):
    """A last layer left out, an island between rings, and a hole that nobody bored."""
    dowels = plan.files["01-A-dowels.nc"]
    second = dowels[dowels.index("G0 X42 Y0") : dowels.rindex("G0 Z25\nM5")]
    for name, old, new in (
        (GROOVE, "G1 X31.0000 Y16.0000 Z1.2000", "G1 X31.0000 Y16.0000 Z5.0000"),
        ("01-A-dowels.nc", second, ""),
        (PLUG, "G3 X-16.0000 Y4.0000 I-4.0000 J0\n", ""),
    ):
        assert "not-reached" in plan.edited(name, old, new, 99).read().counts, name
