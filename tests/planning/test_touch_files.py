"""Files that find zero with a probe: what they touch, what they set, and what is wrong in them.

The coupon is 240 by 90, its blank 10.6 high, its dowel holes 5 wide at X-113 and X102 (its file).
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from corepath.errors import InputError
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.touch_control import Start, TouchRun, run_touch
from corepath.job.load import load_job
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.planning.proving.reading import shop_of
from corepath.planning.proving.touch_files import TouchFiles, read_touches, touch_files

SAMPLES = Path(__file__).parents[2] / "samples"
SIZES = {"probe_tip": 2.0, "probe_plate": 12.0}
MODES = {
    "stop": {"probe": "stop", **SIZES},
    "work": {"probe": "zero", "probe_reports": "work", **SIZES},
    "machine": {"probe": "zero", "probe_reports": "machine", **SIZES},
}


@pytest.fixture(scope="module")
def bare() -> Prepared:
    return prepare_job(load_job(SAMPLES / "coupon.toml"), SAMPLES)


def probed(bare: Prepared, **keys: object) -> Prepared:
    machine = bare.job.machine.model_copy(update=keys)
    return replace(bare, job=bare.job.model_copy(update={"machine": machine}))


def made(prepared: Prepared) -> dict[str, str]:
    return {one.name.removeprefix("touch/"): one.text for one in touch_files(prepared).files}


def found(prepared: Prepared, texts: dict[str, str]) -> list[str]:
    """Kinds of what the read-back finds in these files, whatever others are missing."""
    read = {f"touch/{name}": text for name, text in texts.items()}
    kinds = read_touches(prepared, shop_of(prepared), read).kinds
    return [kind for kind in kinds if kind != "missing-file"]


@pytest.mark.parametrize(
    ("keys", "key", "message"),
    [
        ('probe = "zero"\nprobe_plate = 12', "machine.probe", "controls differ"),
        ('probe = "stop"', "machine.probe", "needs the size of what touches"),
        ("probe_plate = 12", "machine.probe_plate", "goes with a probe only"),
        ('probe = "stop"\nprobe_tip = 40', "machine.probe_tip", "too large to be meant"),
        (
            'probe = "zero"\nprobe_reports = "machine"\nprobe_plate = 12\nlength_offset = true\n'
            'tool_change = "m6"',
            "machine.probe_reports",
            "lack the length",
        ),
        ('probe = "stop"\nprobe_tip = 2\nprobe_number = 9', "machine.probe_number", "only"),
    ],
)
def test_keys_that_would_set_a_zero_by_guess_are_refused(
    keys: str, key: str, message: str, tmp_path: Path
):
    text = (SAMPLES / "coupon.toml").read_text().replace("[machine]\n", f"[machine]\n{keys}\n")
    path = tmp_path / "coupon.toml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        load_job(path)
    (fault,) = caught.value.faults
    assert fault.key == key and message in fault.message
    assert fault.file == str(path) and fault.line is not None


def test_without_a_probe_there_are_no_files(bare: Prepared):
    assert touch_files(bare) == TouchFiles()


@pytest.mark.parametrize("mode", MODES)
def test_a_blank_off_by_the_tolerances_is_touched_where_it_is(bare: Prepared, mode: str):
    """Each file runs in five worlds, zero by eye up to 3 mm off: the read-back holds where zero is
    after it. That it can tell is shown by the faults below."""
    prepared = probed(bare, **MODES[mode])
    files = made(prepared)
    assert list(files) == [
        "A-edges.nc", "A-thickness.nc", "A-z-bed.nc", "B-holes.nc", "B-z-bed.nc",
        "B-z-skimmed-face.nc", "C-holes.nc", "C-z-bed.nc",
    ]  # fmt: skip
    assert found(prepared, files) == []
    for text in files.values():
        assert text.isascii() and max(map(len, text.splitlines())) <= 80
        assert not re.search(r"(?m)^(G0|S|M3)\b", text), "no rapid, the spindle never on"
        assert ("#" in text) == (mode != "stop"), "a file that only stops needs no parameters"


def test_the_words_are_those_of_the_standard(bare: Prepared):
    """NIST IR 6556: G38.2 along one axis (3.5.9), G10 L2 P1 sets G54 (3.5.5), #5063 is the Z of the
    touch (3.5.9.1), #5223 the Z origin of G54 (Table 2). With touches kept in machine coordinates
    the origin that was in force plays no part."""
    for mode, words in (("work", "#5223 + #5063 - 12.0000"), ("machine", "#5063 - 12.0000")):
        lines = made(probed(bare, **MODES[mode]))["A-z-bed.nc"].splitlines()
        at = lines.index("G38.2 Z-10.0000")
        assert lines[at - 1 : at + 3] == ["G91", "G38.2 Z-10.0000", "G90", f"G10 L2 P1 Z[{words}]"]


def test_edges_are_felt_for_below_the_top_and_beyond_the_blank(bare: Prepared):
    """By hand: the ball's middle stands 1 beside an edge it touches, at 121 from the middle in X;
    5 before and behind that it is felt for, 3 for the eye and 2 for the blank."""
    text = made(probed(bare, **MODES["work"]))["A-edges.nc"]
    assert re.findall(r"G1 (X\S+ Y\S+)\nF300.0\nG1 (\S+)\nF60.0\nG38.2 (\S+)", text) == [
        ("X-126.0000 Y0.0000", "Z5.3000", "X-116.0000"),
        ("X126.0000 Y0.0000", "Z5.3000", "X116.0000"),
        ("X0.0000 Y-51.0000", "Z5.3000", "Y-41.0000"),
        ("X0.0000 Y51.0000", "Z5.3000", "Y41.0000"),
    ]
    assert "G10 L2 P1 X[#5221 + [#1 + #2] / 2 - 0.0000]" in text


FAULTS = {
    "plate added instead of taken off": ("A-z-bed.nc", "- 12.0000]", "+ 12.0000]", "zero"),
    "another plate": ("A-z-bed.nc", "- 12.0000]", "- 11.9000]", "zero"),
    "origin left out": ("A-z-bed.nc", "#5223 + ", "", "zero"),
    "touch of another axis": ("A-z-bed.nc", "#5063", "#5062", "zero"),
    "zero of another system": ("A-z-bed.nc", "L2 P1", "L2 P2", "zero"),
    "in another system": ("A-z-bed.nc", "\nG54\n", "\nG55\n", "zero"),
    "no stop first": ("A-z-bed.nc", "M0\nF60.0", "F60.0", "missing-stop"),
    "moved instead of felt": ("A-z-bed.nc", "G38.2", "G1", "touch"),
    "felt upwards": ("A-z-bed.nc", "Z-10.0000", "Z10.0000", "touch"),
    "felt far down": ("A-z-bed.nc", "G38.2 Z-10.0000", "G38.2 Z-40.0000", "touch"),
    "felt at speed": ("A-z-bed.nc", "F60.0", "F600.0", "touch"),
    "not relative": ("A-z-bed.nc", "G91\nG38.2", "G38.2", "touch"),
    "spindle on": ("A-z-bed.nc", "M5\n", "M3 S9000\n", "touch"),
    "units left out": ("A-z-bed.nc", "G21\n", "", "preamble"),
    "unknown parameter": ("A-z-bed.nc", "#5063", "#5064", "unsupported"),
    "bracket open": ("A-z-bed.nc", "12.0000]", "12.0000", "syntax"),
    "end lost": ("A-z-bed.nc", "M2\n", "", "missing-end"),
    "rapid": ("A-edges.nc", "G1 X-126", "G0 X-126", "touch"),
    "edge not reached": ("A-edges.nc", "G38.2 X-116", "G38.2 X-120", "touch"),
    "lowered onto the blank": ("A-edges.nc", "G1 X-126", "G1 X-96", "touch"),
    "one edge counted twice": ("A-edges.nc", "[#1 + #2]", "[#1 + #1]", "zero"),
    "an edge less": ("A-edges.nc", "G38.2 X116.0000\n#2=#5061", "#2=#5061", "touch"),
    "wrong hole": ("B-holes.nc", "+ 113.0000", "- 102.0000", "zero"),
    "into the dowel": ("B-holes.nc", "G1 Z7.6000", "G1 Z1.0000", "touch"),
    "elsewhere on the blank": ("A-thickness.nc", "G1 X-100.5", "G1 X-100.4", "touch"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_what_is_wrong_in_a_file_is_found(bare: Prepared, fault: str):
    prepared = probed(bare, **MODES["work"])
    name, old, new, kind = FAULTS[fault]
    text = made(prepared)[name]
    assert old in text
    assert kind in found(prepared, {name: text.replace(old, new, 1)})


def test_a_wrong_figure_in_a_message_is_found(bare: Prepared):
    """Someone sets zero by it."""
    prepared = probed(bare, **MODES["stop"])
    for name, old, new in (
        ("A-z-bed.nc", "set Z to 12.000", "set Z to 12.100"),
        ("A-edges.nc", "X must be 0.000", "X must be 1.000"),
        ("C-holes.nc", "X must be -113.000", "X must be 113.000"),
    ):
        text = made(prepared)[name]
        assert old in text and "zero" in found(prepared, {name: text.replace(old, new)})


def test_a_corner_is_touched_from_outside(bare: Prepared):
    """The ball touches the left edge 1 outside of X0, its own radius."""
    corner = probed(bare, **MODES["work"], xy_zero="front-left")
    corner = prepare_job(corner.job, SAMPLES)
    text = made(corner)["A-edges.nc"]
    assert text.count("G38.2") == 3 and "G10 L2 P1 X[#5221 + #5061 + 1.0000]" in text
    assert found(corner, made(corner)) == []


def test_what_does_not_fit_is_told_and_left_to_the_hand(bare: Prepared):
    large = probed(bare, probe="stop", probe_tip=4.0)
    why = {one.stem: one.why for one in touch_files(large).missed}
    assert (
        why["B-holes"]
        == "the holes are 5 mm wide: only a ball of at most 3.5 mm finds their middle"
    )
    short = probed(bare, probe="stop", probe_tip=2.0, travel=(245.0, 400.0, 80.0))
    (missed,) = touch_files(short).missed
    assert (
        missed.stem == "A-edges" and missed.why == "X would need 254 mm, and the machine has 245 mm"
    )


def floor(start: tuple[float, float, float], end: tuple[float, float, float]):
    """A world with a plate at machine Z-83.375 everywhere."""
    return (end[0], end[1], -83.375) if start[2] > -83.375 >= end[2] else None


def run(lines: str, reports: str = "work") -> tuple[TouchRun, list[str]]:
    findings = Findings("t.nc")
    head = "G17\nG21\nG90\nG94\nG54\nG40\nG49\nG80\nG64\nF60\nM0\n"
    start = Start((5.0, 6.0, -80.0), ((1.0, 2.0, -40.0), (0.0, 0.0, 0.0)), reports)  # type: ignore[arg-type]
    return run_touch(head + lines + "M2\n", start, floor, findings), list(findings.kinds)


def test_a_zero_set_by_hand_and_by_the_file_agree():
    """By hand: the plate's top trips at machine Z-83.375, with the origin at -40 that is -43.375 in
    work coordinates; on a plate 12 thick the bed, Z0, lies at machine Z-95.375."""
    down = "G91\nG38.2 Z-10\nG90\n"
    for reports, words in (("work", "#5223 + #5063 - 12"), ("machine", "#5063 - 12")):
        result, kinds = run(f"{down}G10 L2 P1 Z[{words}]\n", reports)
        assert kinds == [] and result.origins[0] == pytest.approx((1.0, 2.0, -95.375))


@pytest.mark.parametrize(
    ("words", "value"),
    [("[2 + 6 / 2]", 5.0), ("[[2 + 6] / 2]", 4.0), ("[10 - 2 - 3]", 5.0), ("[8 / 2 / 2 * 3]", 6.0)],
)
def test_expressions_are_read_as_the_standard_orders_them(words: str, value: float):
    """NIST IR 6556, 3.3.2.3: * and / before + and -, equal ones from left to right."""
    result, kinds = run(f"G10 L2 P1 X{words}\n")
    assert kinds == [] and result.origins[0][0] == value


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("G38.2 Z-40.1", "touch"),  # 0.1 from where it stands: 3.5.9.1 wants 0.254 mm
        ("G10 L2 P1 Z[#5063]", "touch"),  # no touch yet
        ("G10 L1 P1 Z0", "touch"),
        ("G92 Z0", "unsupported"),
        ("G2 X0 Y0 I1 J0", "unsupported"),
        ("#5223=0", "unsupported"),
        ("G1 Z[1/0]", "syntax"),
        ("G1 Z[1 + ]", "syntax"),
        ("X5", "syntax"),
    ],
)
def test_lines_that_have_no_place_in_such_a_file(line: str, kind: str):
    assert run(f"{line}\n")[1] == [kind]


def test_a_place_near_the_rim_is_felt_on_the_blank():
    """X and Y may be 3 mm off and the blank smaller: beside a dowel the place to measure lies 2.3
    from the end of this blank, and the probe went past it."""
    prepared = prepare(SAMPLES / "one-shop" / "hand-plane-230.toml")
    assert found(prepared, made(prepared)) == []
