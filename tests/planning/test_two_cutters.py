"""A groove shared by two cutters, from the job to what is left of the blank: the second file has
its own proof."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from corepath.caching.folder_store import store_of
from corepath.planning.make import make_files
from corepath.planning.prepare import Prepared, prepare
from corepath.planning.proving.reading import read_files

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def groove() -> tuple[Prepared, dict[str, str]]:
    """The sample's groove alone: both works, both texts."""
    prepared = prepare(SAMPLES / "swallow-620.toml")
    works = tuple(work for work in prepared.works if work.name == "groove")
    prepared = dataclasses.replace(prepared, works=works)
    return prepared, {made.name: made.text for made in make_files(prepared, store=store_of())}


def test_both_files_together_make_the_groove(groove: tuple[Prepared, dict[str, str]]) -> None:
    """A second file that is held against the whole groove, or a first one against corners that it
    cannot enter."""
    prepared, texts = groove
    assert sorted(texts) == ["03-A-groove-2.nc", "03-A-groove.nc"]
    assert [str(finding) for finding in read_files(prepared, texts).findings] == []


def test_a_tip_that_the_second_file_leaves_out_is_found(
    groove: tuple[Prepared, dict[str, str]],
) -> None:
    """Wood left in a tip of the swallow tail that no other file will take."""
    prepared, texts = groove
    name = "03-A-groove-2.nc"
    lines = texts[name].splitlines()
    rapids = [k for k, line in enumerate(lines) if line.startswith("G0 X")]
    without = lines[: rapids[0]] + lines[rapids[1] :]
    found = read_files(prepared, texts | {name: "\n".join(without) + "\n"}).findings
    assert {"not-reached", "width"} & {finding.kind for finding in found}
    assert {finding.file for finding in found} == {name}


def test_a_second_file_alone_is_not_enough(groove: tuple[Prepared, dict[str, str]]) -> None:
    """The small cutter run in uncut wood: without the first file its place is not cleared."""
    prepared, texts = groove
    found = read_files(prepared, {"03-A-groove-2.nc": texts["03-A-groove-2.nc"]}).findings
    assert {"missing-file", "floor", "not-reached"} & {finding.kind for finding in found}


def test_a_layer_missed_in_one_corner_is_found(groove: tuple[Prepared, dict[str, str]]) -> None:
    """The small cutter meets a tip at double depth, although every other corner has all its
    layers."""
    prepared, texts = groove
    name = "03-A-groove-2.nc"
    lines = texts[name].splitlines()
    turns = next(k for k, line in enumerate(lines) if line.endswith("M3"))
    down = [k for k, line in enumerate(lines) if "Z" in line and line.startswith("G1")]
    down = [k for k in down if k > turns]
    without = lines[: down[0]] + lines[down[1] :]
    found = read_files(prepared, texts | {name: "\n".join(without) + "\n"}).findings
    assert {finding.kind for finding in found} == {"layer-missed"}
