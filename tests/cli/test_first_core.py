"""docs/first-core.md typed line by line, and the examples of docs/cutters-and-hardware.md put into
a job."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.job.load import load_job
from corepath.job.tables.builtin import hardware, resins, threads, woods
from tests.guide.key_reference import key_reference
from tests.guide.table_reference import table_reference

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"


def squeezed(text: str) -> str:
    """One space between words, however they were wrapped."""
    return " ".join(text.split())


def test_the_first_core_is_what_the_commands_say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new user types what the page says and must see what it shows. What `plan` prints is held
    against the coupon's plan in tests/planning/test_coupon_planned.py, to plan it once only."""
    monkeypatch.chdir(tmp_path)
    said, shown, job = "", 0, Path("core.toml")
    for line in (DOCS / "first-core.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("    corepath "):
            words = line.partition("#")[0].split()[1:]
            said = "" if words[0] == "plan" else squeezed(CliRunner().invoke(app, words).output)
        elif line.startswith("Set `floor = 2.4`"):
            job.write_text(
                job.read_text("utf-8").replace("\nfloor = 1.2", "\nfloor = 2.4"), encoding="utf-8"
            )
        elif line.startswith("values that pass. Put `floor = 1.2` back."):
            text = job.read_text("utf-8").replace("\nfloor = 2.4", "\nfloor = 1.2")
            job.write_text(text.replace("\nfloor = 1.2", "\nflor = 1.2", 1), encoding="utf-8")
            said = squeezed(CliRunner().invoke(app, ["check", "core.toml"]).output)
            job.write_text(text, encoding="utf-8")
        elif line.startswith("        ") and line.strip() != "…" and said:
            assert squeezed(line) in said, f"{line.strip()} is not in {said}"
            shown += 1
    assert shown >= 22


def test_the_examples_of_cutters_and_hardware_are_jobs(tmp_path: Path) -> None:
    """Each block, put at the end of the coupon's job, loads; a name from the table gives what is
    not given."""
    coupon = (ROOT / "samples" / "coupon.toml").read_text(encoding="utf-8")
    blocks = re.findall(
        r"```toml\n(.*?)```", (DOCS / "cutters-and-hardware.md").read_text(encoding="utf-8"), re.S
    )
    jobs = []
    for k, block in enumerate(blocks):
        path = tmp_path / f"job-{k}.toml"
        path.write_text(coupon + "\n" + block, encoding="utf-8")
        jobs.append(load_job(path))
    assert jobs[0].cutter[-1].number == 7 and jobs[2].insert[-1].prongs == 6.0
    tapered = jobs[1].cutter[-1]
    assert (tapered.shape, tapered.diameter, tapered.taper_angle) == ("taper", 3.0, 5.0)
    named, row = jobs[3].insert[-1], hardware()["tee-nut-M6-9"]
    assert named.flange == 18.6 and (named.barrel, named.length) == (
        row.barrel.value,
        row.length.value,
    )


def test_the_page_of_tables_is_written_from_the_tables() -> None:
    """A figure that was changed in a table and not on the page would be believed."""
    text = table_reference()
    assert (DOCS / "tables.md").read_text(encoding="utf-8") == text
    for name in (*woods(), *resins(), *threads(), "tee-nut-M6", "screw-in-insert-1/4-20"):
        assert f"| `{name}` |" in text
    for wood in woods().values():
        assert all(
            figure.source in text for figure in (wood.density, wood.radial, wood.tangential)
        ), wood.name
    for part in hardware().values():
        assert part.barrel.source in text and f"{part.length.value:g}" in text


def test_a_barrel_is_not_measured_in_bar() -> None:
    """Units in the reference are whole words of what a key means."""
    rows = [
        line
        for line in key_reference().splitlines()
        if line.startswith(("| `barrel`", "| `clearance`"))
    ]
    assert len(rows) == 4 and not any("| bar |" in row for row in rows)
    assert "| bar |" in key_reference()
