"""The usual slips of a typed job, answered in the builder's terms: the exact text."""

from __future__ import annotations

from pathlib import Path

import pytest

from corepath.job.load import read_job
from corepath.job.text.source import parse

GOOD = (Path(__file__).parents[2] / "samples" / "coupon.toml").read_text(encoding="utf-8")

SLIPS = {
    "decimal comma": (
        "[board]\nthickness = 10,6\n",
        "j.toml:2: board.thickness: has a decimal comma; a number takes a point (got 10,6); "
        "allowed: 10.6",
    ),
    "thousands": (
        "[blank]\nlength = 1,400.5 # as bought\n",
        "j.toml:2: blank.length: has a comma in a number (got 1,400.5); allowed: 1400.5",
    ),
    "either": (
        "[blank]\nlength = 1,400\n",
        "j.toml:2: blank.length: has a comma in a number (got 1,400); allowed: 1.400 with a point, "
        "or 1400 without a sign for thousands",
    ),
    "missing comma": (
        "[[plug]]\n[[plug]]\nat = [[-66 7]]\n",
        "j.toml:3: plug[2].at: has no comma between two values; allowed: -66, 7",
    ),
    "missing comma between rows": (
        "[deck]\nstations = [\n  [-100, 6.2]  # end\n  [88, 7.8],\n]\n",
        "j.toml:4: has no comma between two values; allowed: 6.2], [",
    ),
    "list without end": (
        "[deck]\nstations = [[-100, 6.2], [88, 7.8]\nedge_band = 7.0\n",
        "j.toml:2: deck.stations: has a list without its end; allowed: a ] for each [",
    ),
    "no quotes": (
        "[blank]\nwood = basswood\n",
        'j.toml:2: blank.wood: is text without quotes (got basswood); allowed: "basswood"',
    ),
    "open quote": (
        '[blank]\nwood = "basswood\n',
        'j.toml:2: blank.wood: has text without its closing quote (got "basswood); allowed: '
        '"basswood"',
    ),
    "quotes of a word processor": (
        "[blank]\nwood = “basswood”\n",
        "j.toml:2: blank.wood: has the quotes of a word processor (got “basswood”); allowed: "
        '"basswood", in plain quotes',
    ),
    "fraction": (
        "[board]\nthickness = 3/8\n",
        "j.toml:2: board.thickness: has a fraction (got 3/8); allowed: 0.375",
    ),
    "unit": (
        "[board]\nthickness = 10.5 mm\n",
        "j.toml:2: board.thickness: has a unit: a number stands alone, in the job's units (got "
        "10.5 mm); allowed: 10.5",
    ),
    "no digit before": (
        "[skim]\nstep = .5\n",
        "j.toml:2: skim.step: has no digit before the point (got .5); allowed: 0.5",
    ),
    "no digit after": (
        "[skim]\nstep = 1.\n",
        "j.toml:2: skim.step: has no digit after the point (got 1.); allowed: 1.0",
    ),
    "no equals": ("[skim]\nstep 0.5\n", "j.toml:2: skim.step: has no =; allowed: step = 0.5"),
    "colon": (
        "[skim]\nstep: 0.5\n",
        "j.toml:2: skim.step: has : where = belongs; allowed: step = 0.5",
    ),
    "no value": (
        "[skim]\nstep =\n",
        "j.toml:2: skim.step: has no value; allowed: a value after the =",
    ),
    "capitals": (
        "[machine]\narcs = True\n",
        "j.toml:2: machine.arcs: is true or false, in small letters (got True); allowed: true",
    ),
    "twice": (
        "[skim]\nstep = 1\nstep = 2\n",
        "j.toml:3: skim.step: stands here a second time; allowed: each key once in a table",
    ),
    "one bracket": (
        "[[plug]]\nname = 'P1'\n[plug]\nname = 'P2'\n",
        "j.toml:3: is a table that stands here a second time (got [plug]); allowed: [[plug]] for "
        "each",
    ),
    "open header": (
        "[skim\nstep = 1\n",
        "j.toml:1: is no header of a table (got [skim); allowed: [skim]",
    ),
    "backslash": (
        '[deck]\nmesh = "C:\\decks\\a.stl"\n',
        'j.toml:2: deck.mesh: has a backslash in text (got "C:\\decks\\a.stl"); allowed: '
        '"C:/decks/a.stl"',
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_answered_in_the_words_of_whoever_typed_it(slip: str) -> None:
    text, told = SLIPS[slip]
    source, faults = parse(text, "j.toml")
    assert source is None and [str(fault) for fault in faults] == [told]


VALUES = {
    "decimal comma in a list": (
        ("at = [[34, -5]]", "at = [[34,5, -5]]"),
        "insert[1].at[1]: has the wrong shape: [x, y] is wanted; is there a decimal comma? A "
        "number takes a point",
    ),
    "decimal comma in quotes": (
        ("edge_thickness = 5.0", 'edge_thickness = "5,0"'),
        "board.edge_thickness: must be a number, not text: write 5.0, with a point and without "
        "quotes",
    ),
    "wrong table": (
        ("edge_band = 7.0", "edge_band = 7.0\nedge_thickness = 5.0"),
        "deck.edge_thickness: unknown key here; edge_thickness belongs under [board]",
    ),
    "wrong table of many": (
        ("flange = 15.0", "flange = 15.0\ndiameter = 6.5"),
        "insert[1].diameter: unknown key here; diameter belongs under [[plug]], [[dowel]] or "
        "[[cutter]]",
    ),
    "key of the whole job": (
        ("[skim]", "[skim]\nunits = 'mm'"),
        "skim.units: unknown key here; units belongs at the top of the file, before the first "
        "table",
    ),
    "near name": (
        ("floor = 1.2", "flor = 1.2"),
        "groove.flor: unknown key; did you mean floor?",
    ),
    "other capitals": (
        ("clean_up = 0.4", "Clean-Up = 0.4"),
        "deck.Clean-Up: unknown key; did you mean clean_up?",
    ),
    "plural that another table has as a key": (
        ("[[dowel]]\nat = [-113", "[[dowels]]\nat = [-113"),
        "dowels: unknown key; did you mean dowel?",
    ),
}


@pytest.mark.parametrize("slip", VALUES)
def test_a_wrong_value_or_key_says_where_it_belongs(slip: str, tmp_path: Path) -> None:
    (old, new), told = VALUES[slip]
    assert GOOD.count(old) == 1
    path = tmp_path / "job.toml"
    path.write_text(GOOD.replace(old, new), encoding="utf-8")
    found = [f"{fault.key}: {fault.message}" for fault in read_job(path)[1]]
    assert told in found
