"""Reading measured places: forms that are taken, figures refused with file and line, and no bytes
that crash."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.errors import InputError
from corepath.job.measured import MOST_PLACES, Measured, read_measured
from corepath.job.model import BlankSection

BLANK = BlankSection(length=1400.0, width=480.0, thickness=13.6)
NAN = float("nan")


def read(
    tmp_path: Path, text: str | bytes, scale: float = 1.0, blank: BlankSection | None = BLANK
) -> Measured:
    path = tmp_path / "blank.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_measured(path, scale=scale, blank=blank)


def faults(
    tmp_path: Path, text: str | bytes, **given_: object
) -> list[tuple[int | None, str, str]]:
    with pytest.raises(InputError) as refused:
        read(tmp_path, text, **given_)
    assert all(fault.file.endswith("blank.csv") for fault in refused.value.faults)
    return [(fault.line, fault.key, fault.message) for fault in refused.value.faults]


TAKEN = {
    "header": "x,y,thickness,height\n-600,200,13.61,13.70\n600,-200,13.5,\n",
    "no header": "-600,200,13.61,13.70\n600,-200,13.5\n",
    "other order": "height,y,x,thickness\n13.70,200,-600,13.61\n,-200,600,13.5\n",
    "semicolons and decimal commas": "x;y;thickness;height\n-600;200;13,61;13,70\n600;-200;13,5;\n",
    "semicolons and points": "x;y;thickness;height\n-600;200;13.61;13.70\n600;-200;13.5;\n",
    "tabs": "x\ty\tthickness\theight\n-600\t200\t13,61\t13.70\n600\t-200\t13.5\t\n",
    "quoted decimal commas": 'x,y,thickness,height\n-600,200,"13,61","13,70"\n600,-200,"13,5",\n',
    "mark, line ends, comments, blanks": "\ufeff# mine\r\n\r\n X , Y , Thickness (mm) , Height "
    "[mm] \r\n"
    "-600,200,13.61,13.70\r\n  # no\r\n600,-200,13.5,,\r\n",
    "old line ends": "x,y,thickness,height\r-600,200,13.61,13.70\r600,-200,13.5,\r",
    "names and rows not filled "
    "in": "x,y,thickness,height,place\n-600,200,13.61,13.70,corner\n0,0,,,middle\n"
    '600,-200,13.5,,"over P1a; height only"\n',
    "figures of one place in two "
    "lines": "x,y,thickness,height\n-600,200,13.61,\n600,-200,13.5,\n-600,200,13.61,13.7\n",
    "typographic minus": "x,y,thickness,height\n\u2212600,200,13.61,13.70\n600,\u2212200,13.5,\n",
}


@pytest.mark.parametrize("text", TAKEN.values(), ids=TAKEN.keys())
def test_forms_that_are_taken(tmp_path: Path, text: str) -> None:
    """Each of these says the same two places; any other reading would plan for another blank."""
    found = read(tmp_path, text)
    np.testing.assert_array_equal(found.x, [-600, 600])
    np.testing.assert_array_equal(found.y, [200, -200])
    np.testing.assert_array_equal(found.thickness, [13.61, 13.5])
    np.testing.assert_array_equal(found.height, [13.70, NAN])


def test_lines_are_those_of_the_file(tmp_path: Path) -> None:
    found = read(tmp_path, "# one\nx,y,thickness\n\n0,0,13.6\n5,5,\n9,9,13.7\n")
    assert found.lines == (4, 6)
    assert not found.x.flags.writeable


def test_inches(tmp_path: Path) -> None:
    """A job in inches has its file in inches."""
    found = read(tmp_path, "x,y,thickness (inch)\n-10,4,0.535\n", scale=25.4)
    np.testing.assert_allclose([found.x[0], found.y[0], found.thickness[0]], [-254, 101.6, 13.589])


def test_a_form_with_nothing_filled_in(tmp_path: Path) -> None:
    """It is no mistake: the blank is then planned as unmeasured."""
    assert len(read(tmp_path, "x,y,thickness,height\n0,0,,\n10,0,,\n")) == 0
    assert len(read(tmp_path, "# nothing\n")) == 0
    assert len(read(tmp_path, b"")) == 0


REFUSED = {
    "unknown column": ("x,y,thicknes\n0,0,13.6\n", 1, "", "did you mean thickness"),
    "no place": ("x,thickness\n0,13.6\n", 1, "", "names no column y"),
    "nothing measured": ("x,y\n0,0\n", 1, "", "thickness or height"),
    "column twice": ("x,y,x,thickness\n0,0,0,13.6\n", 1, "", "turns up twice"),
    "other units": ("x,y,thickness (inch)\n0,0,0.53\n", 1, "", "other units"),
    "no number": ("x,y,thickness\n0,0,13.6\n0,9,l3.6\n", 3, "thickness", "not a number"),
    "not finite": ("x,y,thickness\n0,0,1e999\n", 2, "thickness", "not a number"),
    "nan": ("x,y,thickness\n0,0,nan\n", 2, "thickness", "not a number"),
    "too many cells": ("x,y,thickness\n0,0,13,6\n", 2, "", "4 cells, not 3"),
    "no x": ("x,y,thickness\n,0,13.6\n", 2, "x", "missing"),
    "another figure": (
        "x,y,thickness\n0,0,13.6\n9,0,13.5\n0,0,13.7\n",
        4,
        "thickness",
        "13.60 mm, in line 2",
    ),
    "zero": ("x,y,thickness\n0,0,0\n", 2, "thickness", "more than 0"),
    "negative": ("x,y,height\n0,0,-13.6\n", 2, "height", "more than 0"),
    "absurd": ("x,y,thickness\n0,0,19\n", 2, "thickness", "more than 30%"),
    "in inches": ("x,y,thickness\n0,0,0.535\n", 2, "thickness", "is it in inches"),
    "in cm": ("x,y,thickness\n0,0,1.36\n", 2, "thickness", "is it in cm"),
    "off the blank": ("x,y,thickness\n1350,100,13.6\n", 2, "x", "count from its middle"),
    "sunk": ("x,y,thickness,height\n0,0,13.6,12.9\n", 2, "height", "mixed up"),
    "bytes": (b"x,y,thickness\n0,0,\xff\n", 2, "", "UTF-8"),
}


@pytest.mark.parametrize(("text", "line", "key", "message"), REFUSED.values(), ids=REFUSED.keys())
def test_what_is_refused(
    tmp_path: Path, text: str | bytes, line: int, key: str, message: str
) -> None:
    found = faults(tmp_path, text)
    assert len(found) == 1
    assert found[0][:2] == (line, key)
    assert message in found[0][2]


def test_all_faults_at_once(tmp_path: Path) -> None:
    """A person corrects a file once, not once for each line."""
    found = faults(tmp_path, "x,y,thickness\n0,0,a\n900,0,13.6\n0,1,-1\n")
    assert [line for line, _, _ in found] == [2, 3, 4]


def test_limits_need_the_blank(tmp_path: Path) -> None:
    """Without the blank's size nothing is off it."""
    assert len(read(tmp_path, "x,y,thickness\n1350,100,19\n", blank=None)) == 1


def test_missing_file_and_folder(tmp_path: Path) -> None:
    for path, says in ((tmp_path / "none.csv", "no such file"), (tmp_path, "is a folder")):
        with pytest.raises(InputError, match=says):
            read_measured(path)


def test_too_many_places(tmp_path: Path) -> None:
    rows = "".join(f"{k % 700},{k // 700},13.6\n" for k in range(MOST_PLACES + 1))
    assert "places" in faults(tmp_path, "x,y,thickness\n" + rows)[0][2]
    assert (
        len(read(tmp_path, "x,y,thickness\n" + rows[: rows[:-1].rindex("\n") + 1])) == MOST_PLACES
    )


CELLS = st.sampled_from(
    [
        "x",
        "y",
        "thickness",
        "height",
        "0",
        "13.6",
        "13,6",
        "-1e400",
        "",
        '"',
        "#",
        "\x00",
        "é",
        "place",
    ]
)
SIGNS = st.sampled_from([",", ";", "\t", "\n", "\r\n", '"', " "])


@given(
    st.one_of(
        st.binary(max_size=200),
        st.lists(st.one_of(CELLS, SIGNS), max_size=60).map(lambda p: "".join(p).encode()),
    )
)
@settings(max_examples=300, derandomize=True, deadline=None)
def test_any_bytes(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    """Whatever stands in the file, it is read or refused with a line; what is read can be used."""
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(data)
    try:
        found = read_measured(path, blank=BLANK)
    except InputError as refused:
        assert all(fault.message and fault.file for fault in refused.faults)
        return
    assert np.isfinite(found.x).all() and np.isfinite(found.y).all()
    assert not (np.isnan(found.thickness) & np.isnan(found.height)).any()
