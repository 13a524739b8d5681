"""200 values of all samples, and of files laid out as nobody would, changed at random as a page
does: the file loads, the page shows what was typed, no comment is lost, no other line changes."""

from __future__ import annotations

import random
import re
import tomllib
from pathlib import Path

from corepath.editing.changing import changed, without
from corepath.editing.forms import forms
from corepath.job.text.positions import layout_of
from corepath.job.text.source import key_of

SAMPLES = Path(__file__).parents[2] / "samples"
POINTS = ", ".join(f"[{k / 10}, {k % 97}]" for k in range(5000))
HOSTILE = {
    "interleaved": '[[plug]]  # p1\nname = "P1"\n[board]  # b\nthickness = 8 # t\n[[plug]] # p2\n'
    'name = "P2"\nat = [[1, 2], # q\n\t[3, 4]]\n[deck]\nstations = [[0, 8], [5, 7.5]] # s\n',
    "inline": 'board = {thickness = 9.0, edge_thickness = 3} # b\nplug = [{name = "P1", '
    "at = [[1, 2]]}, # one\n {name = 'P2', at = [[3, 4]]}] # two\n",
    "bom": "\ufeff# mark\r\n[board]\r\nthickness = 8.0 # t\r\n[groove] # g\r\nfloor = 1.2\r\n",
    "points": f"# many\n[outline] # o\npoints = [{POINTS}] # all\n[groove]\nfloor = 1.2 # f\n",
    "dotted": "board.thickness = 8.0 # t\nboard.edge_thickness = 4 # e\ngroove.floor = 1.2\n",
    "inches": 'units = "inch" # u\n[groove] # g\nfloor = 0.05 # f\ninside = 0.31\n',
}
_TEXTS = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'')


def comments(text: str) -> list[str]:
    """All comments, sorted; no sample has a text over several lines."""
    bare = _TEXTS.sub("", text)
    return sorted(line.partition("#")[2].strip() for line in bare.splitlines() if "#" in line)


def numbers(text: str) -> list[tuple[str | int, ...]]:
    """Paths of all numbers in a text."""
    values = layout_of(text.removeprefix("\ufeff")).values
    bare = text.removeprefix("\ufeff")
    return [
        path
        for path, (start, end) in values.items()
        if re.fullmatch(r"-?[\d.]+", bare[start:end]) and len(path) > 1
    ]


def test_a_random_edit_touches_more_than_its_value() -> None:
    draw = random.Random(21)
    texts = [path.read_bytes().decode() for path in sorted(SAMPLES.glob("*.toml"))]
    texts += HOSTILE.values()
    paths = [numbers(text) for text in texts]
    large = texts.index(HOSTILE["points"])
    for number in range(200):
        place = number % len(texts)
        if place == large and number > len(texts):
            continue  # one edit of 5,000 points is enough: it takes half a second
        text, path = texts[place], draw.choice(paths[place])
        value = f"{draw.uniform(1, 20):.{draw.randrange(3)}f}"
        after = changed(text, {key_of(path): value})
        before_document = tomllib.loads(text.removeprefix("\ufeff"))
        document = tomllib.loads(after.removeprefix("\ufeff"))
        held = document
        for part in path:
            held = held[part]  # type: ignore[index]
        assert held == float(value)
        assert comments(after) == comments(text)
        assert after.startswith("\ufeff") == text.startswith("\ufeff")
        one, other = text.split("\n"), after.split("\n")
        differ = [k for k, pair in enumerate(zip(one, other, strict=True)) if pair[0] != pair[1]]
        # the thickest station and the board's thickness are one thing on two lines
        twice = path[:2] == ("deck", "stations") or path == ("board", "thickness")
        assert len(differ) <= (4 if twice else 1)
        if not twice:
            _set(before_document, path, held)
            assert document == before_document
        if isinstance(path[-1], str) and len(path) == 2:
            shown = forms(after, Path("x.toml"))
            keys = {key["key"]: key for of in shown["tables"] for key in of["keys"]}
            assert keys[key_of(path)]["text"] == value
        texts[place] = after


def _set(document: object, path: tuple[str | int, ...], value: object) -> None:
    for part in path[:-1]:
        document = document[part]  # type: ignore[index]
    document[path[-1]] = value  # type: ignore[index]


def test_elements_taken_out_at_random_take_comments_with_them() -> None:
    draw = random.Random(22)
    for name, text in HOSTILE.items():
        for _ in range(3):
            bare = text.removeprefix("\ufeff")
            paths = [p for p in layout_of(bare).values if isinstance(p[-1], int) and len(p) > 2]
            if not paths or name == "points":
                break
            after = without(text, key_of(draw.choice(paths)))
            assert comments(after) == comments(text)
            text = after


def test_the_thickest_station_and_the_board_part() -> None:
    """Typed or dragged, one follows the other; a station below the thickest stands alone."""
    text = "[board]\nthickness = 8.0\n[deck]\nstations = [[0, 8.0], [5, 7.5], [9, 8]]\n"
    thinner = changed(text, {"board.thickness": "7.8"})
    assert "thickness = 7.8" in thinner and "[[0, 7.8], [5, 7.5], [9, 7.8]]" in thinner
    assert "thickness = 8.4" in changed(text, {"deck.stations[1][2]": "8.4"})
    assert "thickness = 8.0" in changed(text, {"deck.stations[1][2]": "7.0"})
    assert "thickness = 8.0" in changed(text, {"deck.stations[2][2]": "7.0"})
    one = changed(text, {"deck.stations[3][2]": "7"})
    assert "thickness = 7.5" in changed(one, {"deck.stations[1][2]": "7.25"})
    assert "thickness = 7.5" in without(one, "deck.stations[1]")
