"""A job in inches with some lengths left in mm: its keys are named, and no good job is taken for
one."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

from corepath.errors import InputError
from tests.given import load_text

COUPON = (Path(__file__).parents[2] / "samples" / "coupon.toml").read_text(encoding="utf-8")
PLAIN = {"title", "units", "wood", "ratio", "ratio_by", "resin", "density", "number", "flutes",
    "rpm", "spindle_rpm",
         "name", "shape", "through", "arcs", "z_zero", "xy_zero", "flip_about"}  # fmt: skip


def in_inches(text: str, kept: tuple[str, ...] = ()) -> str:
    """Lengths by 25.4 to four places, as a person would type them; those of the sections or keys in
    `kept` stay."""
    lines, section = [], ""
    for line in text.splitlines():
        header = re.match(r"\[+(\w+)\]+", line)
        section = header[1] if header else section
        key, _, rest = line.partition(" = ")
        if (
            rest
            and key.isidentifier()
            and key not in PLAIN
            and section not in kept
            and key not in kept
        ):
            value = rest.partition("#")[0]
            rest = re.sub(r"-?\d+(\.\d+)?", lambda found: f"{float(found[0]) / 25.4:.4f}", value)
            line = f"{key} = {rest}"
        lines.append(line.replace('units = "mm"', 'units = "inch"'))
    return "\n".join(lines)


def test_a_job_whose_cutters_and_safe_height_are_still_mm_is_told_so_with_its_keys() -> None:
    """It ended in "not enough memory for a job of this size", without line or key."""
    start = time.process_time()
    with pytest.raises(InputError) as told:
        load_text(in_inches(COUPON, ("cutter", "safe_z")), "x.toml")
    assert time.process_time() - start < 1.0
    keys = {fault.key for fault in told.value.faults}
    assert {
        "units",
        "machine.safe_z",
        "cutter[1].diameter",
        "cutter[3].stick_out",
        "cutter[4].chip_load",
    } <= keys
    units = next(fault for fault in told.value.faults if fault.key == "units")
    assert "machine.safe_z, cutter[1].diameter" in units.message and units.line is not None
    assert not any(key.startswith(("blank", "groove", "dowel")) for key in keys)


@pytest.mark.parametrize(
    ("kept", "key"),
    [("safe_z", "machine.safe_z"), ("travel", "machine.travel"), ("groove", "groove.inside"),
     ("skim", "skim.largest_step"), ("dowel", "dowel[1].diameter"), ("insert", "insert[1].flange"),
     ("rapid", "machine.rapid")],
)  # fmt: skip
def test_one_section_left_in_mm_is_enough(kept: str, key: str) -> None:
    with pytest.raises(InputError) as told:
        load_text(in_inches(COUPON, (kept,)), "x.toml")
    assert key in {fault.key for fault in told.value.faults if "looks like mm" in fault.message}


def test_a_job_that_is_converted_throughout_is_none() -> None:
    """A 2 inch facing cutter, 24 inches of travel: large, and meant."""
    job = load_text(in_inches(COUPON), "x.toml")
    assert job.cutter[0].diameter == pytest.approx(4.0, abs=0.002)
    text = (
        in_inches(COUPON)
        .replace("diameter = 0.7874", "diameter = 2.0")
        .replace("chip_load = 0.0063", "chip_load = 0.02")
    )
    assert load_text(text, "x.toml").cutter[2].diameter == pytest.approx(50.8)


def test_hardware_from_the_table_is_in_mm_and_no_suspect() -> None:
    """Its flange of 19 mm would look like 19 inches."""
    text = in_inches(COUPON)
    insert = text[text.index("[[insert]]") : text.index("[[dowel]]")]
    named = '[[insert]]\nname = "I1"\nat = [[1.3386, -0.1969]]\nhardware = "tee-nut-M4"\n\n'
    assert load_text(text.replace(insert, named), "x.toml").insert[0].flange == 15.0
