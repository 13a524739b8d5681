"""The resolved job, its digest, the tables, the reference and the starter."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.errors import InputError
from corepath.job.kinds import KeyKind, fields_of
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.job.tables.builtin import hardware, resins, threads, woods
from corepath.job.text.resolved import digest, from_resolved, resolved_dict
from corepath.job.text.source import shown
from corepath.job.text.starter import starter_text, title_of, write_starter
from tests.given import load_text
from tests.guide.key_reference import key_reference

ROOT = Path(__file__).parents[2]
SAMPLES = sorted((ROOT / "samples").glob("*.toml"))
GOOD = starter_text("Test piece")


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.name)
def test_resolved_job_survives_json(sample: Path) -> None:
    """A stranger reads job.resolved.json: not one bit of a number may be lost in it."""
    job = load_job(sample)
    text = json.dumps(resolved_dict(job))
    assert from_resolved(json.loads(text)) == job
    assert digest(from_resolved(json.loads(text))) == digest(job)


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.floats(0.01, 8.0), st.floats(-90, 90))
def test_any_float_survives(edge: float, y: float) -> None:
    """Shortest round-trip text of floats: property over the whole range."""
    text = GOOD.replace("edge_thickness = 5.0", f"edge_thickness = {edge!r}").replace(
        "[34, -5]", f"[34, {y!r}]"
    )
    job = load_text(text, "x")
    assert from_resolved(json.loads(json.dumps(resolved_dict(job)))) == job
    assert job.board.edge_thickness == edge


def test_resolved_job_that_was_tampered_with_is_refused() -> None:
    """A damaged file in a plan's folder must end in faults of our own, all at once."""
    resolved = resolved_dict(load_text(GOOD, "x"))
    resolved["board"]["thickness"] = "8"
    resolved["cutter"][1]["diameter"] = None
    del resolved["machine"]
    with pytest.raises(InputError) as caught:
        from_resolved(resolved)
    assert {fault.key for fault in caught.value.faults} == {
        "board.thickness",
        "cutter[2].diameter",
        "machine",
    }
    assert all(fault.file == "job.resolved.json" for fault in caught.value.faults)


def test_digest_follows_values_and_nothing_else() -> None:
    """Comments and spelling of a number do not change it; any value and any record does."""
    job = load_text(GOOD, "x")
    first = digest(job)
    assert len(first) == 8 and int(first, 16) >= 0
    assert (
        digest(load_text("# more\n" + GOOD.replace("thickness = 8.0", "thickness = 8"), "y"))
        == first
    )
    assert digest(load_text(GOOD.replace("floor = 1.2", "floor = 1.21"), "x")) != first
    assert digest(job, {"thickness": 10.5}) != first
    assert digest(job, {}) == first


def test_inch_job_resolves_to_mm() -> None:
    """`lengths` says so, whatever `units` says."""
    resolved = resolved_dict(load_text(inch_text(GOOD), "x"))
    assert (resolved["lengths"], resolved["units"]) == ("mm", "inch")
    assert resolved["blank"]["length"] == pytest.approx(240.0, abs=1e-9)


def _in_inches(value: Any, kind: KeyKind) -> str:
    """The value as TOML, lengths divided by 25.4."""
    if isinstance(value, list):
        kinds = kind.items * len(value) if kind.repeated else kind.items
        return (
            "["
            + ", ".join(_in_inches(item, inner) for item, inner in zip(value, kinds, strict=False))
            + "]"
        )
    return shown(value / 25.4 if kind.length else value)


def inch_text(text: str) -> str:
    """The same job written in inches, by the kinds of the model."""
    lines, arrays = ['title = "Test piece"', 'units = "inch"'], []
    for name, held in tomllib.loads(text).items():
        kind = fields_of(Job).get(name)
        if kind is None:  # the number of the form
            continue
        if kind.table is not None:
            arrays.append((f"[{name}]", held, kind.table))
        elif kind.name == "list" and kind.items[0].table is not None:
            arrays += [(f"[[{name}]]", row, kind.items[0].table) for row in held]
    for header, row, table in arrays:
        lines += [
            "",
            header,
            *(f"{key} = {_in_inches(value, fields_of(table)[key])}" for key, value in row.items()),
        ]
    return "\n".join(lines) + "\n"


def test_the_same_job_in_inches_is_the_same_job() -> None:
    """Every length, and nothing but lengths, is scaled: the two jobs agree within the last
    digits."""

    def compare(a: Any, b: Any, at: str) -> None:
        if isinstance(a, dict):
            assert list(a) == list(b), at
            for key in a:
                compare(a[key], b[key], f"{at}.{key}")
        elif isinstance(a, list):
            assert len(a) == len(b), at
            for left, right in zip(a, b, strict=True):
                compare(left, right, at)
        elif isinstance(a, float):
            assert b == pytest.approx(a, rel=1e-14, abs=1e-12), at
        else:
            assert a == b or at == ".units", at

    compare(resolved_dict(load_text(GOOD, "x")), resolved_dict(load_text(inch_text(GOOD), "x")), "")


def test_reference_is_current_and_whole() -> None:
    """The committed reference must be what the model gives, and name every key of it."""
    text = key_reference()
    assert (ROOT / "docs" / "job-reference.md").read_text(encoding="utf-8") == text
    for name, kind in fields_of(Job).items():
        assert name in text
        model = kind.table or (kind.items[0].table if kind.items else None)
        for key, field in model.model_fields.items() if model else ():
            assert f"| `{key}` |" in text
            assert field.description, f"{name}.{key} has no description"


# Wood Handbook (FPL-GTR-190, 2010), chapter 13, equation 13-3 at 10 % moisture content:
# coefficient = 1 / (30 · 100 / S − 30 + 10), S the shrinkage green to oven-dry in % of table 4-3.
# Western redcedar needs a fibre saturation point of 22 in place of 30.
HANDBOOK = [
    ("yellow-poplar", 4.6, 8.2, 30),
    ("basswood", 6.6, 9.3, 30),
    ("quaking-aspen", 3.5, 6.7, 30),
    ("bigtooth-aspen", 3.3, 7.9, 30),
    ("western-redcedar", 2.4, 5.0, 22),
    # from memory of that table
    ("ash", 4.9, 7.8, 30),
    ("maple", 4.8, 9.9, 30),
    ("soft-maple", 4.0, 8.2, 30),
    ("beech", 5.5, 11.9, 30),
    ("cherry", 3.7, 7.1, 30),
    ("birch", 7.3, 9.5, 30),
    ("walnut", 5.5, 7.8, 30),
    ("yellow-cedar", 2.8, 6.0, 30),
]


@pytest.mark.parametrize(("name", "radial", "tangential", "saturation"), HANDBOOK)
def test_wood_moves_as_the_handbook_says(
    name: str, radial: float, tangential: float, saturation: float
) -> None:
    """A slip in a coefficient would shift every check of registration."""
    wood = woods()[name]
    for figure, shrinkage in ((wood.radial, radial), (wood.tangential, tangential)):
        expected = 1 / (saturation * 100 / shrinkage - saturation + 10)
        assert figure.value == pytest.approx(expected, abs=1.5e-5)
        assert figure.source
    assert wood.across("flat") == wood.tangential.value == wood.through("quarter")
    assert wood.across("quarter") == wood.radial.value == wood.through("flat")


def test_hardware_is_possible_and_marked() -> None:
    """Every figure has its source, and no row contradicts itself."""
    assert list(hardware())[:4] == ["tee-nut-M4", "tee-nut-M5", "tee-nut-M6", "tee-nut-M8"]
    for row in hardware().values():
        assert threads()[row.thread].nominal < row.barrel.value < row.flange.value - 2.0
        assert row.flange_thickness.value < row.length.value
        assert row.prongs.value < row.length.value
        for figure in (row.barrel, row.flange, row.flange_thickness, row.length):
            assert "from memory" in figure.source and figure.tolerance > 0


def test_resins_have_cautions() -> None:
    """Resin can hurt: each kind says how, and defers to the maker elsewhere."""
    for resin in resins().values():
        assert len(resin.cautions) >= 2
        assert all(0.9 < density < 1.3 for density in resin.density)
        assert 0 < resin.shrinkage.value < 0.02


def test_starter_is_written_once(tmp_path: Path) -> None:
    """A starter that overwrote a job would destroy work."""
    path = tmp_path / "my-board.toml"
    assert write_starter(path) == "My board"
    before = path.read_bytes()
    with pytest.raises(InputError, match="not overwritten"):
        write_starter(path)
    assert path.read_bytes() == before
    assert load_job(path).title == "My board"


def test_starter_refuses_odd_names(tmp_path: Path) -> None:
    """No folder is made, and no file of another kind."""
    with pytest.raises(InputError, match="no folder"):
        write_starter(tmp_path / "none" / "a.toml")
    with pytest.raises(InputError, match=r"\.toml"):
        write_starter(tmp_path / "a.txt")
    assert list(tmp_path.iterdir()) == []


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.text(st.characters(exclude_characters="/\x00", exclude_categories=("Cs",)), max_size=80))
def test_any_name_gives_a_valid_title(stem: str) -> None:
    """Quotes, backslashes and control characters in a file's name must not break the TOML."""
    title = title_of(Path(f"a{stem}.toml"))
    assert tomllib.loads(starter_text(title))["title"] == title
    assert 1 <= len(title) <= 60
