"""Every way a job file can be wrong has a message that names key, line, value and what is
allowed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.errors import Fault, InputError
from corepath.job.load import load_job, read_job
from corepath.job.text.source import key_of, locate, path_of, read_source
from corepath.job.text.starter import starter_text
from tests.given import load_text

GOOD = starter_text("Test piece")


def _edited(old: str, new: str) -> str:
    assert GOOD.count(old) >= 1, old
    return GOOD.replace(old, new, 1)


def _faults(text: str) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        load_text(text, "job.toml")
    return caught.value.faults


def _line_of(text: str, part: str) -> int:
    return text[: text.index(part)].count("\n") + 1


def test_starter_loads() -> None:
    """Without this every other test here would prove nothing."""
    job = load_text(GOOD, "job.toml")
    assert job.board.thickness == 8.0
    assert job.insert[0].at == ((34.0, -5.0),)
    assert job.title == "Test piece"


WRONG = [
    # old text, new text, key, part of the message, part of what is allowed
    ("edge_thickness = 5.0", "edge_thicknes = 5.0", "board.edge_thicknes", "did you mean "
                                                                           "edge_thickness",
                                                                           "thickness"),
    ("edge_thickness = 5.0", "", "board.edge_thickness", "missing key", "greater than 0"),
    ("edge_thickness = 5.0", 'edge_thickness = '
                             '"5"', "board.edge_thickness", "without quotes", "mm"),
    ("edge_thickness = 5.0", "edge_thickness = true", "board.edge_thickness", "not true or "
                                                                              "false", "mm"),
    ("edge_thickness = 5.0", "edge_thickness = "
                             "-5.0", "board.edge_thickness", "negative", "greater than 0"),
    ("edge_thickness = 5.0", "edge_thickness = "
                             "0", "board.edge_thickness", "zero", "greater than 0"),
    ("edge_thickness = 5.0", "edge_thickness = nan", "board.edge_thickness", "finite", "mm"),
    ("edge_thickness = 5.0", "edge_thickness = inf", "board.edge_thickness", "finite", "mm"),
    ("edge_thickness = 5.0", "edge_thickness = "
                             f"1{'0' * 400}", "board.edge_thickness", "finite", "mm"),
    ("edge_thickness = 5.0", "edge_thickness = [5]", "board.edge_thickness", "not a list", "mm"),
    ("edge_thickness = 5.0", "edge_thickness = 2024-01-01", "board.edge_thickness", "date", "mm"),
    ("edge_thickness = 5.0", "edge_thickness = 9.0", "board.edge_thickness", "thicker than the "
                                                                             "board", "8 mm"),
    ("[board]\n", "[bord]\n", "bord", "did you mean board", "outline"),
    ("[board]\n", "[board]\nfloor_height = 3\n", "board.floor_height", "unknown key", "thickness"),
    ("[board]\n", "[board]\nspoil_board = "
                  "3\n", "board.spoil_board", "belongs under [blank]", "thickness"),
    ('units = "mm"', 'units = "cm"', "units", "choices", '"mm" or "inch"'),
    ('title = "Test piece"', "title = 3", "title", "text", "quotes"),
    ('title = "Test piece"', 'title = ""', "title", "empty", "60"),
    ("    [20, 30],", "    [20, 30, "
                      "4],", "outline.stations[5]", "[x, half width]", "[x, half width]"),
    ("    [20, 30],", "    [20, -30],", "outline.stations[5][2]", "negative", "at least 0"),
    ("[outline]\n", '[outline]\ndxf = "a.dxf"\n', "outline", "more than once", "exactly one"),
    ("[outline]\n", '[outline]\nlayer = "A"\n', "outline.layer", "dxf only", "dxf"),
    ("clean_up = 0.4", 'mesh = "deck.stl"', "deck.mesh", "more than once", "stations"),
    ("clean_up = 0.4", "scallop = 1e-9", "deck.scallop", "small", "0.001"),
    ("length = 240", "length = 240_000", "blank.length", "too large", "5000 mm"),
    ('wood = "basswood"', 'wood = "baswood"', "blank.wood", "did you mean basswood", "balsa"),
    ("floor = 1.2", "floor = 10.6", "groove.floor", "above the raw top", "10.6 mm"),
    ("at = [[-66, 7]]", "at = [-66, 7]", "plug[1].at", "[[x, y], …]", "[[x, y], …]"),
    ("at = [[-66, 7]]", "at = [[-66, 7, 1]]", "plug[1].at[1]", "[x, y]", "[x, y]"),
    ("at = [[-66, 7]]", "at = [[-66]]", "plug[1].at[1]", "[x, y]", "[x, y]"),
    ("at = [[-66, 7]]", "at = [[-66, [7]]]", "plug[1].at[1][2]", "not a list", "mm"),
    ("at = [[-66, 7]]", "at = []", "plug[1].at", "at least 1", "[[x, y], …]"),
    ("at = [[-66, 7]]", "at = 3", "plug[1].at", "[[x, y], …]", "[[x, y], …]"),
    ("bolt_hole = 5.5", "bolt_hole = 14.0", "plug[1].bolt_hole", "as wide as the plug", "14 mm"),
    ("bolt_hole = 5.5", "bolt_hole = 5.5\nslot = 10", "plug[1].slot", "no longer", "14 mm"),
    ("bolt_hole = 5.5", "bolt_hole = 5.5\nfloor = 11", "plug[1].floor", "above the raw "
                                                                        "top", "10.6 mm"),
    ('name = "P1"', 'name = "P 1"', "plug[1].name", "short name", "letter"),
    ('name = "I1"', 'name = "p1"', "insert[1].name", "plug[1] has this name", "own"),
    ("through = false", 'through = "no"', "insert[1].through", "true or false", "true or false"),
    ("through = false", 'hardware = "teenut-M5"', "insert[1].hardware", "did you mean "
                                                                        "tee-nut-M5", "tee-nut-M8"),
    ("flange = 15.0", "flange = 6.5", "insert[1].flange", "no wider", "6.5 mm"),
    ("flange_thickness = 1.2", "flange_thickness = "
                               "5.5", "insert[1].flange_thickness", "as thick", "5.5 mm"),
    ("depth_in_bed = 7.0", "depth_in_bed = 18.0", "dowel[1].depth_in_bed", "pass through", "18 mm"),
    ("step = 0.5", "step = 1.5", "skim.step", "larger than the largest", "1 mm"),
    ("step = 0.5", "step = 1e-6", "skim.step", "too small", "0.05"),
    ("step = 0.5\nlargest_step = 1.0", "step = 20\nlargest_step = "
                                       "20", "skim.step", "thicker than the blank", "10.6"),
    ('resin = "polyurethane"', 'resin = "polyester"', "cast.resin", "unknown resin", "epoxy"),
    ("ratio = [100, 90]", "ratio = [100, 0]", "cast.ratio[2]", "zero", "greater than 0"),
    ("ratio = [100, 90]", "ratio = [100, 1]", "cast.ratio", "mixed", "1 : 20"),
    ("density = [1.05, 1.22]", "density = [1050, 1.22]", "cast.density[1]", "no density", "g/cm³"),
    ("density = [1.05, 1.22]", "density = [1, 1, 1]", "cast.density", "at most 2", "number"),
    ("travel = [700, 400, 80]", "travel = [700, 400]", "machine.travel", "[x, y, z]", "[x, y, z]"),
    ("safe_z = 8.0", "safe_z = 0.5", "machine.safe_z", "out of bounds", "at least 5"),
    ("safe_z = 8.0", "safe_z = 80", "machine.safe_z", "Z travel", "80 mm"),
    ('z_zero = "bed"', 'z_zero = "top"', "machine.z_zero", "choices", '"bed" or "face"'),
    ('z_zero = "bed"', 'z_zero = "face"', "machine.touch_at", "needs", "[x, y]"),
    ("[8000, 24000]", "[24000, 8000]", "machine.spindle_rpm", "slowest comes first", "slowest"),
    ("number = 2\n", "number = 1\n", "cutter[2].number", "cutter[1] has this number", "own"),
    ("number = 2\n", "number = 2.0\n", "cutter[2].number", "whole number", "99999"),
    ("rpm = 14000", "rpm = 30000", "cutter[3].rpm", "does not run", "24000"),
    ('shape = "ball"', 'shape = "bull"', "cutter[4].corner_radius", "needs its corner "
                                                                    "radius", "6 mm"),
    ('shape = "ball"', 'shape = "bull"\ncorner_radius = '
                       '6', "cutter[4].corner_radius", "half the diameter", "6 mm"),
    ('shape = "ball"', 'shape = "ball"\ncorner_radius = '
                       '2', "cutter[4].corner_radius", "ball", "6 mm"),
    ('shape = "ball"', 'shape = "flat"\ncorner_radius = '
                       '2', "cutter[4].corner_radius", "none", "bull"),
    ('shape = "ball"', 'shape = "taper"', "cutter[4].taper_angle", "needs its taper", "30"),
    ('shape = "ball"', 'shape = "ball"\ntaper_angle = 5', "cutter[4].taper_angle", "none", "taper"),
    ('shape = "ball"', 'shape = "taper"\ntaper_angle = 5\nshank = '
                       '12', "cutter[4].shank", "thicker than its ball", "12 mm"),
    ('shape = "ball"', 'shape = "taper"\ntaper_angle = 5\ncorner_radius = '
                       '2', "cutter[4].corner_radius", "half its diameter", "6 mm"),
    ("cutting_length = 25.0\nstick_out", "taper_angle = 60\ncutting_length = 25.0\n"
                       "stick_out", "cutter[4].taper_angle", "out of bounds", "30"),
    ("stick_out = 36.0", "stick_out = 20.0", "cutter[4].stick_out", "less than its edges", "25 mm"),
    ("[machine]", "[layup]\nneutral = 80\n[machine]", "layup.neutral", "outside the "
                                                                       "core",
                                                                       "board.thickness, 8 mm"),
    ("[machine]", "[layup]\nform_skin = 60\n[machine]", "layup.form_skin", "nothing is "
                                                                           "left",
                                                                           "rib_height, 60 mm"),
    ("depth_a_pass = 3.0", "depth_a_pass = 17", "cutter[3].depth_a_pass", "deeper than", "16 mm"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "key", "message", "allowed"), WRONG, ids=[f"{row[2]}-{row[3]}" for row in WRONG]
)
def test_one_wrong_value_is_one_fault(
    old: str, new: str, key: str, message: str, allowed: str
) -> None:
    """A fault must be named by its key, in its line, with what is allowed, and bring no others
    along."""
    text = _edited(old, new)
    faults = _faults(text)
    expected = [fault for fault in faults if fault.key == key]
    assert expected, faults
    fault = expected[0]
    assert message in fault.message
    assert allowed in fault.allowed
    assert fault.file == "job.toml"
    if "edge_thicknes" not in new and key != "bord":  # a misspelled name is missing as well
        assert len(faults) == 1, faults
    first = _line_of(GOOD, old)
    assert fault.line is not None
    if not fault.value:  # nothing stands there: its table is quoted
        assert text.split("\n")[fault.line - 1].startswith("[")
    else:
        assert first <= fault.line <= first + new.count("\n")


def test_line_and_value_by_hand() -> None:
    """The line is that of the element itself, not of the key that opens the list."""
    text = _edited("    [20, 30],", '    [20, "30"],')
    (fault,) = _faults(text)
    assert (fault.line, fault.value) == (_line_of(text, '    [20, "30"]'), '"30"')


def test_all_faults_at_once_in_the_order_of_the_file() -> None:
    """Faults of different tables and kinds must all come in one run."""
    text = GOOD
    for old, new in (
        ("thickness = 8.0", "thickness = 8.0\nthicknes = 2"),
        ("smooth = 30.0", "smooth = nan"),
        ("number = 4", "number = 3"),
        ("stick_out = 28.0", "stick_out = 2"),
        ("safe_z = 8.0", 'safe_z = "8"'),
    ):
        text = text.replace(old, new, 1)
    faults = _faults(text)
    assert [fault.key for fault in faults] == [
        "board.thicknes", "deck.smooth", "machine.safe_z", "cutter[1].stick_out",
        "cutter[4].number",
    ]  # fmt: skip
    assert [fault.line for fault in faults] == sorted(fault.line or 0 for fault in faults)


def test_unknown_keys_still_yield_a_job(tmp_path: Path) -> None:
    """The caller looks for faults of geometry as well, so the job must not be lost for a misspelled
    key."""
    path = tmp_path / "job.toml"
    path.write_text(_edited("[board]\n", "[board]\ncolour = 1\n"), encoding="utf-8")
    job, faults = read_job(path)
    assert job is not None and job.board.thickness == 8.0
    assert [fault.key for fault in faults] == ["board.colour"]


@pytest.mark.parametrize("table", ["plug", "insert", "dowel", "cutter"])
def test_single_brackets_are_explained(table: str) -> None:
    """A slip that TOML itself accepts: one bracket too few."""
    text = "\n".join(
        f"{table} = 3" if line == f"[[{table}]]" else line for line in [f"[{table}]", "x = 1"]
    )
    fault = next(fault for fault in _faults(text) if fault.key == table)
    assert f"[[{table}]]" in fault.message


def test_empty_file_names_every_missing_table() -> None:
    """An empty file is TOML; what it lacks must be told, not only the first."""
    keys = [fault.key for fault in _faults("")]
    assert keys == [
        "title",
        "board",
        "outline",
        "deck",
        "blank",
        "groove",
        "dowel",
        "machine",
        "cutter",
    ]


FILES = [
    (b"title = 'a\n", "closing quote"),
    (b"[board\n", "is no header of a table"),
    (b"a = 1\na = 2\n", "stands here a second time"),
    (b"title = '\xff'\n", "byte at position 9"),
    (b"\x00\x01\x02", "is not TOML"),
    (b"\x89PNG\r\n\x1a\n", "byte at position 0"),
    (b"a = " + b"[" * 5000, "nested too deeply"),
    (b"a = 1" + b"0" * 5000, "too many digits"),
]


@pytest.mark.parametrize(
    ("data", "message"), FILES, ids=[row[1] + str(k) for k, row in enumerate(FILES)]
)
def test_no_toml_at_all(tmp_path: Path, data: bytes, message: str) -> None:
    """Whatever bytes come, the answer is one clear fault."""
    path = tmp_path / "job.toml"
    path.write_bytes(data)
    job, faults = read_job(path)
    assert job is None
    assert len(faults) == 1
    assert message in faults[0].message and faults[0].file == str(path)


def test_toml_error_has_line_and_column(tmp_path: Path) -> None:
    """The parser's own words and place are kept where none of the usual slips fits."""
    path = tmp_path / "job.toml"
    path.write_text("title = 'x'\n[board]\nthickness = {a = 1\n", encoding="utf-8")
    fault = read_job(path)[1][0]
    assert fault.line == 3 and "column 19" in fault.message


def test_missing_file_and_folder(tmp_path: Path) -> None:
    """A path that is no file is told apart from one that is not there."""
    assert "no such file" in read_job(tmp_path / "none.toml")[1][0].message
    assert "folder" in read_job(tmp_path)[1][0].message
    assert "too long" in read_job(tmp_path / ("x" * 300 + ".toml"))[1][0].message
    assert "a pipe or a device" in read_job(Path("/dev/zero"))[1][0].message
    assert "cannot be read" in read_job(Path("a\0b.toml"))[1][0].message


def test_byte_order_mark_and_line_ends_are_tolerated(tmp_path: Path) -> None:
    """Editors add them; lines must still count right."""
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_job(path) == load_text(GOOD, "x")
    path.write_bytes(
        b"\xef\xbb\xbf" + _edited("floor = 1.2", "floor = 0").replace("\n", "\r\n").encode()
    )
    assert read_job(path)[1][0].line == _line_of(GOOD, "floor = 1.2")


def _inches(*edits: tuple[str, str]) -> str:
    """The coupon in inches: its lengths by 25.4 to four places, then the edits."""
    lines = []
    for line in GOOD.splitlines():
        key, _, rest = line.partition(" = ")
        if (
            rest
            and key.isidentifier()
            and not re.search(r'"|true|false|rpm|flutes|number|density|ratio|schema', line)
        ):
            rest = re.sub(
                r"-?\d+(\.\d+)?",
                lambda found: f"{float(found[0]) / 25.4:.4f}",
                rest.partition("#")[0],
            )
        elif key == "at":
            rest = re.sub(r"-?\d+(\.\d+)?", lambda found: f"{float(found[0]) / 25.4:.4f}", rest)
        lines.append(f"{key} = {rest}" if rest else line)
    text = "\n".join(lines).replace('units = "mm"', 'units = "inch"')
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def test_inches_are_scaled_once_and_defaults_are_not() -> None:
    """A default of 0.3 mm must stay 0.3 mm in a job written in inches, and numbers without length
    keep their value."""
    job = load_text(_inches(("recess = 0.0118", "")), "job.toml")
    assert job.blank.length == 9.4488 * 25.4
    assert job.insert[0].recess == 0.3
    assert job.machine.spindle_rpm == (8000.0, 24000.0)
    assert job.cast.density == (1.05, 1.22)
    assert job.plug[0].at == ((-2.5984 * 25.4, 0.2756 * 25.4),)


def test_messages_of_inch_jobs_speak_inches() -> None:
    """`allowed` in mm beside a value in inches would mislead."""
    text = _inches(("safe_z = 0.3150", "safe_z = 0.1"), ("length = 9.4488", "length = 240"))
    faults = {fault.key: fault for fault in _faults(text)}
    assert "0.1969, inch" in faults["machine.safe_z"].allowed
    assert "inch (" in faults["blank.length"].allowed


def test_hardware_fills_what_is_not_given() -> None:
    """Keys of the job win over the table, and the table's millimetres are not scaled in an inch
    job."""
    text = _edited("barrel = 6.5", 'hardware = "tee-nut-M6"').replace("flange = 15.0", "")
    insert = load_text(text, "job.toml").insert[0]
    assert (insert.barrel, insert.flange, insert.prongs) == (7.5, 19.0, 6.0)
    assert insert.flange_thickness == 1.2
    inch = _inches(("barrel = 0.2559", 'hardware = "tee-nut-M6"'), ("flange = 0.5906", ""))
    insert = load_text(inch, "job.toml").insert[0]
    assert insert.barrel == 7.5 and insert.flange_thickness == 0.0472 * 25.4


def test_faults_found_later_are_placed(tmp_path: Path) -> None:
    """A fault of the geometry knows only its key; line and value come from the file."""
    path = tmp_path / "job.toml"
    path.write_text(GOOD, encoding="utf-8")
    source, _ = read_source(path)
    placed = locate(
        [Fault("insert[1].at[1]", "lies outside the board"), Fault("nowhere", "x")], source
    )
    assert placed[0].line == _line_of(GOOD, "at = [[34, -5]]")
    assert placed[0].value == "[34, -5]"
    assert placed[1].line is None


names = st.one_of(st.from_regex(r"[A-Za-z0-9_-]{1,5}", fullmatch=True), st.text(max_size=4))


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.lists(st.one_of(names.filter(bool), st.integers(0, 30)), max_size=4).map(tuple))
def test_key_and_path_round_trip(path: tuple[str | int, ...]) -> None:
    """A key that does not lead back to its place would lose the line of the fault."""
    assert path_of(key_of(path)) == path


junk = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=3)).map(
        lambda value: (
            "[]"
            if value is None
            else json.dumps(value).replace("NaN", "nan").replace("Infinity", "inf")
        )
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]"),
        st.dictionaries(st.sampled_from(["at", "x", "name"]), inner, max_size=2).map(
            lambda held: "{" + ", ".join(f"{name} = {value}" for name, value in held.items()) + "}"
        ),
    ),
    max_leaves=5,
)
KEYS = sorted(
    {
        line.split(" =")[0]
        for line in GOOD.split("\n")
        if " = " in line and not line.startswith(("#", " "))
    }
)


@pytest.mark.whole
@settings(max_examples=250, derandomize=True, deadline=None)
@given(st.sampled_from(KEYS), junk)
def test_any_value_under_any_key_is_a_job_or_faults(key: str, value: str) -> None:
    """Nothing a key can hold may end in anything but a job or faults that have a key and a
    message."""
    out, skipping = [], False
    for line in GOOD.split("\n"):
        if skipping:
            skipping = line != "]"
            continue
        if line.startswith(f"{key} ="):
            skipping = line.endswith("= [")
            line = f"{key} = {value}"
        out.append(line)
    try:
        load_text("\n".join(out), "job.toml")
    except InputError as error:
        assert all(fault.message and "pydantic" not in str(fault) for fault in error.faults)
        assert all(fault.line for fault in error.faults)
