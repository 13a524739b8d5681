"""The number of a file's form: a newer one is refused in plain words, an older one is led to
today's step by step."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from corepath.errors import InputError
from corepath.job import load
from corepath.job.measured import read_measured
from corepath.job.text import schema
from corepath.job.text.resolved import digest, from_resolved, resolved_dict
from corepath.job.text.schema import Schema, comment_number
from corepath.job.text.starter import starter_text
from corepath.planning.proving.reading import read_folder
from tests.given import load_text

SAMPLES = Path(__file__).parents[2] / "samples"
COUPON = (SAMPLES / "coupon.toml").read_text(encoding="utf-8")
KINDS = {name: held for name, held in vars(schema).items() if isinstance(held, Schema)}


def faults_of(error: InputError) -> list[tuple[str, str]]:
    return [(fault.key, fault.message) for fault in error.faults]


@pytest.mark.parametrize("name", KINDS)
def test_every_older_form_can_be_led_on(name: str) -> None:
    """A number raised without its step would shut out the files of every user."""
    kind = KINDS[name]
    oldest = 1 if kind.unnumbered is None else min(1, kind.unnumbered)
    assert set(kind.steps) == set(range(oldest, kind.newest))


def test_a_job_may_state_its_form_and_means_the_same() -> None:
    """The number is no part of the design: job and digest stay, whether it is written or not."""
    plain, stated = load_text(COUPON, "job.toml"), load_text(f"schema = 1\n{COUPON}", "job.toml")
    assert plain == stated and digest(plain) == digest(stated)
    assert "schema = 1" in starter_text("Board")


def test_a_newer_job_is_refused_with_that_alone() -> None:
    """Its other keys may mean something else: faults in them would only lead astray."""
    with pytest.raises(InputError) as told:
        load_text(f"schema = 2\nnew_key = 1\n{COUPON}", "job.toml")
    (fault,) = told.value.faults
    assert (fault.key, fault.line, fault.value, fault.allowed) == ("schema", 1, "2", "1")
    assert "this job file was written for a newer corepath" in fault.message


@pytest.mark.parametrize("number", ["0", "-1", "true", "1.0", '"1"', "[]"])
def test_what_is_no_number_is_told_beside_the_other_faults(number: str) -> None:
    """Such a number says nothing about the rest, so that the rest is checked as ever."""
    with pytest.raises(InputError) as told:
        load_text(f"schema = {number}\n{COUPON.replace('floor = ', 'flor = ', 1)}", "job.toml")
    assert ("schema", "is no number of a schema") in faults_of(told.value)
    assert "groove.flor" in {key for key, _ in faults_of(told.value)}


def test_a_slip_in_the_key_is_named() -> None:
    """The key is one of the job's, though the model has it not."""
    with pytest.raises(InputError, match="did you mean schema"):
        load_text(f"shema = 1\n{COUPON}", "job.toml")


def test_an_older_job_is_led_through_every_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two made-up changes of form, a key renamed and one moved: the older files still give the very
    same job."""

    def renamed(document: Mapping[str, Any]) -> dict[str, Any]:
        ring = dict(document["ring"])
        return {**{key: value for key, value in document.items() if key != "ring"}, "groove": ring}

    def moved(document: Mapping[str, Any]) -> dict[str, Any]:
        board = dict(document["board"])
        height = board.pop("floor")
        return {**document, "board": board, "groove": {**document["groove"], "floor": height}}

    monkeypatch.setattr(load, "JOB", Schema("job file", 3, 1, {1: renamed, 2: moved}))
    today = COUPON.replace("floor = 1.2", "", 1).replace("[board]", "[board]\nfloor = 1.2", 1)
    first = today.replace("[groove]", "[ring]", 1)
    wanted = load_text(f"schema = 3\n{COUPON}", "job.toml")
    assert load_text(f"schema = 2\n{today}", "job.toml") == wanted
    assert load_text(f"schema = 1\n{first}", "job.toml") == load_text(first, "job.toml") == wanted
    with pytest.raises(InputError, match="allowed: 1 to 3"):
        load_text(f"schema = 4\n{COUPON}", "job.toml")


def test_a_step_leaves_what_it_is_given() -> None:
    """The source is quoted in messages later on."""
    kind = Schema("job file", 2, 1, {1: lambda old: {**old, "b": 2}})
    given = {"a": 1}
    assert kind.settle(given) == ({"a": 1, "b": 2}, None) and given == {"a": 1}
    assert kind.settle({"a": 1, "schema": 2}) == ({"a": 1}, None)


def test_measured_places_state_their_form_in_a_comment(tmp_path: Path) -> None:
    """The list that check writes has the number; a newer one is not read, other comments are passed
    over."""
    path = tmp_path / "blank.csv"
    rows = "x,y,thickness\n0,0,10.6\n"
    for head in ("", "# schema = 1\n", "# schema: 1\n", "# schema\n", "# the schema = 9 of old\n"):
        path.write_text(head + rows)
        assert len(read_measured(path)) == 1
    path.write_text(f"# cut on Monday\n# schema = 2\n{rows}")
    with pytest.raises(InputError) as told:
        read_measured(path)
    (fault,) = told.value.faults
    assert (fault.line, fault.key, fault.value) == (
        2,
        "schema",
        "2",
    ) and "newer corepath" in fault.message
    assert comment_number("#schema=12 ") == {"schema": 12} and comment_number("# schemas = 1") == {}


def test_a_resolved_job_states_its_form() -> None:
    """Without the number, as the first plans wrote it, it is of form 1."""
    job = load_text(COUPON, "job.toml")
    data = json.loads(json.dumps(resolved_dict(job)))
    assert data["schema"] == 1 and from_resolved(data) == job
    assert from_resolved({key: value for key, value in data.items() if key != "schema"}) == job
    with pytest.raises(InputError, match="newer corepath"):
        from_resolved({**data, "schema": 2})


def test_a_resolved_job_of_an_early_plan_is_still_read() -> None:
    """Written by an early version, before there were numbers: keys that came since take their
    defaults."""
    old = json.loads((Path(__file__).parent / "early.resolved.json").read_text(encoding="utf-8"))
    assert "schema" not in old and "milling" not in old and "screw" not in old
    job = from_resolved(old)
    assert resolved_dict(job)["milling"] and job.screw == ()
    assert (job.title, job.groove.floor, job.blank.thickness) == (
        old["title"],
        1.2,
        old["blank"]["thickness"],
    )


@pytest.mark.parametrize("name", ["job.resolved.json", "report.json"])
def test_a_folder_of_a_newer_plan_is_refused(tmp_path: Path, name: str) -> None:
    """Reading it back by keys that mean something else could call a bad file good."""
    resolved = resolved_dict(load_text(COUPON, "job.toml"))
    for file, content in (("job.resolved.json", resolved), ("report.json", {"schema": 1})):
        (tmp_path / file).write_text(json.dumps({**content, "schema": 2 if file == name else 1}))
    (tmp_path / "01-A-dowels.nc").write_text("M2\n")
    with pytest.raises(InputError) as told:
        read_folder(tmp_path)
    (fault,) = told.value.faults
    assert fault.file.endswith(name) and fault.key == "schema" and "newer corepath" in fault.message


def test_every_kind_is_named_in_its_fault() -> None:
    """Five kinds of file lie beside one another: the words must say which one is too new."""
    for kind in KINDS.values():
        _, fault = replace(kind, unnumbered=1).number({"schema": kind.newest + 1})
        assert fault is not None and f"this {kind.what} was" in fault.message
