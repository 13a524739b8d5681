"""The folder of a plan whose deck comes from a file is read back without that file."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from corepath.errors import InputError
from corepath.job.text.resolved import from_resolved, resolved_dict
from corepath.planning.folder.held_deck import KEY, held_deck, seal
from corepath.planning.prepare import prepare
from corepath.planning.report.geometry import geometry_dict

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def prepared():
    return prepare(SAMPLES / "mesh-640.toml")


def test_heights_come_back_whole(prepared):
    """A difference of a rounding would make the read-back judge another deck than was planned."""
    resolved = json.loads(
        json.dumps(resolved_dict(prepared.resolved) | seal(prepared.board.deck, prepared.job))
    )
    geometry = json.loads(json.dumps(geometry_dict(prepared)))
    again = held_deck(from_resolved(resolved), resolved, geometry)
    assert np.array_equal(again.grid, prepared.board.deck.grid)
    assert again.source.sha256 == prepared.board.deck.source.sha256


def test_changed_heights_are_refused(prepared):
    """Else the deck could be changed in one file, and the programs be found right against it."""
    resolved = resolved_dict(prepared.resolved) | seal(prepared.board.deck, prepared.job)
    geometry = geometry_dict(prepared)
    geometry["deck"]["h"][300][200] += 0.01
    for wrong in (geometry, {}):
        with pytest.raises(InputError, match="deck's heights are not there, or not those"):
            held_deck(prepared.resolved, resolved, wrong)
    with pytest.raises(InputError):
        held_deck(prepared.resolved, {KEY: "0"}, geometry_dict(prepared))


def test_the_digest_of_a_plan_covers_the_bytes_of_the_mesh(prepared, tmp_path):
    """One bit of the file's header turns no height, yet it is another file."""
    data = bytearray((SAMPLES / "mesh-640.stl").read_bytes())
    data[70] ^= 1
    (tmp_path / "mesh-640.stl").write_bytes(bytes(data))
    (tmp_path / "job.toml").write_bytes((SAMPLES / "mesh-640.toml").read_bytes())
    other = prepare(tmp_path / "job.toml")
    assert (
        np.array_equal(other.board.deck.grid, prepared.board.deck.grid)
        and other.digest != prepared.digest
    )
