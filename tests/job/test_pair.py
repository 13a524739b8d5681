"""The other board of a pair: every place mirrored once, nothing else, and named as such."""

from __future__ import annotations

from pathlib import Path

import pytest

from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.job.text.resolved import digest, from_resolved, resolved_dict
from corepath.job.text.starter import starter_text
from corepath.planning.job_files.copying import copy_job
from corepath.planning.prepare import prepare
from tests.given import load_text
from tests.job.test_job_resolved import inch_text

BASE = starter_text("Core")
HEAD = "[board]\n"


def _pair(mirror: str, text: str = BASE) -> Job:
    return load_text(text.replace(HEAD, f'{HEAD}mirror = "{mirror}"\n'), "core.toml")


def test_a_place_of_the_pair_is_mirrored_twice_or_not_at_all() -> None:
    """By hand: P1 (-66, 7), I1 (34, -5), dowels at -113 and 102, first station -100 and last 88.
    A place with many decimals is not rounded."""
    ends, sides = _pair("ends"), _pair("sides")
    assert (ends.plug[0].at, ends.insert[0].at) == (((66.0, 7.0),), ((-34.0, -5.0),))
    assert (sides.plug[0].at, sides.insert[0].at) == (((-66.0, -7.0),), ((34.0, 5.0),))
    assert [one.at for one in ends.dowel] == [(113.0, 0.0), (-102.0, 0.0)]
    assert ends.outline.stations is not None and ends.deck.stations is not None
    assert (ends.outline.stations[0], ends.outline.stations[1]) == ((-88.0, 0.0), (-82.0, 13.0))
    assert ends.deck.stations[0] == (-88.0, 7.8)
    assert (ends.title, sides.title) == ("Core, ends mirrored", "Core, sides mirrored")
    fine = _pair("ends", BASE.replace("[[34, -5]]", "[[34.123456, -5]]"))
    assert fine.insert[0].at == ((-34.123456, -5.0),)
    inch = _pair("ends", inch_text(BASE))
    assert inch.insert[0].at[0] == pytest.approx((-34.0, -5.0), abs=1e-9)


def test_a_pair_differs_from_a_mirrored_copy(tmp_path: Path) -> None:
    """`new --mirror` writes the same board with its figures changed; heights and cutters stay."""
    path = tmp_path / "core.toml"
    path.write_text(BASE, encoding="utf-8")
    copy_job(tmp_path / "copy.toml", str(path), mirror="ends").write()
    copied, pair = resolved_dict(load_job(tmp_path / "copy.toml")), resolved_dict(_pair("ends"))
    for one in (copied, pair):
        del one["title"]
    assert pair["board"].pop("mirror") == "ends" and "mirror" not in copied["board"]
    assert pair == copied


def test_a_pair_is_mirrored_again_when_its_folder_is_read(tmp_path: Path) -> None:
    """The resolved job holds the places as cut; its plan is another than that of the first."""
    pair = _pair("sides")
    assert from_resolved(resolved_dict(pair)) == pair
    assert digest(pair) not in {digest(load_text(BASE, "x")), digest(_pair("ends"))}
    path = tmp_path / "core.toml"
    path.write_text(BASE.replace(HEAD, f'{HEAD}mirror = "ends"\n'), encoding="utf-8")
    assert not prepare(path).failed


def test_an_outline_from_a_file_is_mirrored_in_part() -> None:
    """The plugs would be mirrored and the outline not."""
    start = BASE.index("stations = [\n")
    text = BASE[:start] + 'dxf = "a.dxf"\n' + BASE[BASE.index("]\n\n", start) + 2 :]
    with pytest.raises(InputError) as caught:
        _pair("ends", text)
    assert [fault.key for fault in caught.value.faults] == ["board.mirror"]
    with pytest.raises(InputError):
        _pair("both")
