"""Hardware by thread and length, what is said of its figures, and bolt holes that suit no bolt."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.model import InsertSection, Job
from corepath.job.tables import builtin
from corepath.job.tables.builtin import hardware, threads
from corepath.job.tables.threads import fit_cautions, suits
from tests.given import load_text

SAMPLES = Path(__file__).parents[2] / "samples"


def job(bolt_hole: float = 6.6, **insert: object) -> Job:
    base = load_job(SAMPLES / "board-1280.toml")
    plugs = tuple(plug.model_copy(update={"bolt_hole": bolt_hole}) for plug in base.plug[:1])
    inserts = tuple(entry.model_copy(update=insert) for entry in base.insert[:1]) if insert else ()
    return base.model_copy(update={"plug": plugs, "insert": inserts})


def test_each_thread_has_each_kind_in_more_than_one_length() -> None:
    """A shop with M5 screws finds tee nuts only; or the one length that it has not got."""
    rows = hardware()
    for thread in ("M4", "M5", "M6", "M8", "#10-24", "#10-32", "1/4-20"):
        for kind in ("tee-nut", "flanged-insert", "knock-in-insert", "screw-in-insert"):
            usual = rows[f"{kind}-{thread}"]
            mine = [
                row
                for name, row in rows.items()
                if name.startswith(f"{kind}-{thread}-") or row is usual
            ]
            assert len({row.length.value for row in mine}) == len(mine) >= 2
            assert {(row.barrel, row.flange, row.flange_thickness, row.prongs) for row in mine} == {
                (usual.barrel, usual.flange, usual.flange_thickness, usual.prongs)
            }
            assert usual.thread == thread and thread in threads()
    assert (rows["tee-nut-M6"].length.value, rows["tee-nut-M6-12"].length.value) == (10.0, 12.0)


def test_figures_of_the_table_in_use_are_to_be_measured_and_given_ones_are_not() -> None:
    """A seat cut for parts that nobody has measured; a nagging line after they were."""
    row = hardware()["tee-nut-M6"]
    keys = {**row.keys(), "hardware": "tee-nut-M6"}
    (said,) = fit_cautions(job(**keys))
    assert "measure yours" in said and "barrel 7.5" in said and "insert I1" in said
    (part,) = fit_cautions(job(**{**keys, "barrel": 7.62, "flange": 18.6}))
    assert "barrel" not in part and "length 10" in part
    measured = {
        "barrel": 7.62,
        "flange": 18.6,
        "flange_thickness": 1.3,
        "length": 9.8,
        "prongs": 5.5,
    }
    assert fit_cautions(job(**{**keys, **measured})) == ()
    assert fit_cautions(job(hardware=None)) == ()


def test_a_bore_in_which_the_bolt_binds_is_told() -> None:
    """A bolt that comes through the bore and jams in the wood."""
    keys = {
        **hardware()["tee-nut-M6"].keys(),
        "hardware": "tee-nut-M6",
        "barrel": 6.0,
        "clearance": 0.2,
    }
    assert any(
        "bore of 6.2 mm is narrower than the fine clearance hole of M6, 6.4" in s
        for s in fit_cautions(job(**keys))
    )


def test_a_bolt_hole_between_two_bolts_is_told() -> None:
    """6.2 mm: an M6 bolt binds, an M5 rattles."""
    assert fit_cautions(job(6.6)) == ()
    (said,) = fit_cautions(job(6.2))
    assert said.startswith(
        "plug P1: a bolt hole of 6.2 mm is wider than the coarse clearance hole of #10"
    )
    assert "narrower than the fine one of M6 (6.4)" in said
    assert fit_cautions(job(2.0))[0].endswith(
        "is narrower than the fine one of M3 (3.2), by ISO 273 and its like"
    )
    assert "is wider" in fit_cautions(job(12.0))[0] and "narrower" not in fit_cautions(job(12.0))[0]
    assert suits(6.6) == ["M6"] and suits(5.5) == ["M5", "#10-24", "#10-32"]


def test_every_dimension_can_be_given() -> None:
    """A table that cannot be overruled."""
    assert set(hardware()["tee-nut-M6"].keys()) <= set(InsertSection.model_fields)


def test_a_thread_that_no_table_of_holes_has_is_a_fault_with_its_row(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A row added to the table of hardware ended each command with a KeyError."""
    row = replace(hardware()["tee-nut-M6"], name="tee-nut-M7", thread="M7")
    monkeypatch.setattr("corepath.job.tables.threads.hardware", lambda: {"tee-nut-M7": row})
    with pytest.raises(InputError, match=r"tee-nut-M7 .* has the thread M7") as told:
        fit_cautions(job(**{**row.keys(), "hardware": "tee-nut-M7"}))
    assert told.value.faults[0].key == "insert.hardware" and "M6" in told.value.faults[0].allowed


@pytest.fixture
def copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A copy of the tables, read instead of them; their caches are empty before and after."""
    data = Path(builtin.__file__).parents[1] / "data"
    shutil.copytree(data, tmp_path / "data")
    monkeypatch.setattr(builtin, "resources", SimpleNamespace(files=lambda _: tmp_path))
    hardware.cache_clear()
    threads.cache_clear()
    yield tmp_path / "data" / "hardware.toml"
    hardware.cache_clear()
    threads.cache_clear()


def test_a_part_with_a_new_thread_needs_more_than_its_rows_in_one_file(copied: Path) -> None:
    """Threads stood in a module: a row with a new one was refused until somebody changed code.

    M10: clearance holes 10.5, 11 and 12 (ISO 273:1979, from memory).
    """
    table = copied.read_text()
    part = table[table.index("[tee-nut-M8]") : table.index('["tee-nut-#10-24"]')]
    thread = (
        '[thread.M10]\nnominal = { value = 10.0, source = "ISO 261, from memory" }\nclearance = '
        '{ fine = 10.5, medium = 11.0, coarse = 12.0, source = "ISO 273:1979, from memory" }\n'
    )
    new = part.replace("M8", "M10").replace("value = 10.0", "value = 10.2")
    copied.write_text(f"{thread}\n{table}\n{new}")
    coupon = (SAMPLES / "coupon.toml").read_text()
    text = coupon.replace("barrel = 6.5\n", "").replace("flange = 15.0", "flange = 22.0")
    made = load_text(text.replace("through = false", 'hardware = "tee-nut-M10"'), "x.toml")
    assert made.insert[0].hardware == "tee-nut-M10" and made.insert[0].barrel == 10.2
    assert suits(11.0) == ["M10"]
    # a bore of 10.4, 10.2 and 0.2 of clearance, is narrower than the fine hole
    assert any("fine clearance hole of M10, 10.5" in said for said in fit_cautions(made))
    assert "[thread." not in str(list(hardware())) and "thread" not in hardware()


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("M6 tee nut", "tee-nut-M6"), ("Tee_Nut m6", "tee-nut-M6"), ("m8-tnut", "tee-nut-M8"),
    ("tee nut", ""),
     ("tee-nut-M7", ""), ("1/4-20 flanged insert", "flanged-insert-1/4-20")],
)  # fmt: skip
def test_a_name_of_another_size_is_never_offered(typed: str, meant: str) -> None:
    """`M6 tee nut` was taken for tee-nut-M8: its seat would have been bored 22 wide for a flange of
    19."""
    coupon = (SAMPLES / "coupon.toml").read_text()
    with pytest.raises(InputError) as told:
        load_text(coupon.replace("through = false", f'hardware = "{typed}"'), "x.toml")
    (fault,) = told.value.faults
    assert fault.message == (
        f"unknown hardware; did you mean {meant}?" if meant else "unknown hardware"
    )
