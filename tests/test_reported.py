"""The report says something else than the result that it tells of."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from corepath.reported import GIVEN, Key, report_keys, reported


@report_keys("x", Key("high", "top", 2))
@dataclass(frozen=True)
class _Spot:
    x: float
    top: float


@report_keys(
    "name", Key("cm3", "volume", 1), Key("plain", places=None), Key("first", "spots.low.x"),
    "spots",
    Key("gone", "none.x"), Key("left_out", "none", optional=True), Key("*", "more"), "doubled",
)  # fmt: skip
@dataclass(frozen=True)
class _Thing:
    name: str
    volume: float
    plain: float
    spots: _Spots
    more: tuple[tuple[str, tuple[float, ...]], ...]
    unsaid: float = 1.0
    none: _Spot | None = None

    def doubled(self) -> float:
        return 2.0 * self.volume


@report_keys("low", "all")
@dataclass(frozen=True)
class _Spots:
    low: _Spot
    all: tuple[_Spot, ...]


_LOW = _Spot(0.123456, 0.129)
_THING = _Thing("a", 12.3456789, 0.123456789, _Spots(_LOW, (_LOW,)), (("edges", (0.00004, 1.0)),))


def test_a_key_tells_something_else():
    """Names, places, paths, methods, spread keys and what is left out, worked out by hand; in
    the order given."""
    spot = {"x": 0.1235, "high": 0.13}
    assert list(reported(_THING).items()) == [
        ("name", "a"),
        ("cm3", 12.3),
        ("plain", 0.123456789),
        ("first", 0.1235),
        ("spots", {"low": spot, "all": [spot]}),
        ("gone", None),
        ("edges", [0.0, 1.0]),
        ("doubled", 24.6914),
    ]


@report_keys(Key("combined", optional=True), Key("depth", optional=True), "sure")
@dataclass(frozen=True)
class _File:
    combined: bool
    depth: float | None
    sure: bool


def test_only_what_is_none_or_false_may_be_left_out():
    """A depth of 0 would be missing, or each file say what it is not."""
    assert reported(_File(False, 0.0, False)) == {"depth": 0.0, "sure": False}
    assert reported(_File(True, None, True)) == {"combined": True, "sure": True}


def test_what_has_no_keys_is_told_all_the_same():
    """Whoever forgets the keys of a class must hear of it."""
    with pytest.raises(TypeError, match="object has no keys"):
        reported({"a": object()})


def test_no_number_of_the_report_is_minus_zero() -> None:
    """-0.00004 rounds to -0.0 at four places, in Python as in most languages."""
    assert str(reported([-0.00004, -0.0, -0.0001])) == "[0.0, 0.0, -0.0001]"
    assert str(reported(-0.0, None)) == "0.0"
    held = {"a": [-0.0, (1, -0.0)], "b": {"c": -0.0, "d": "-0.0"}, "e": True}
    assert str(reported(held, None)) == (
        "{'a': [0.0, [1, 0.0]], 'b': {'c': 0.0, 'd': '-0.0'}, 'e': True}"
    )


@report_keys(Key("share", places=GIVEN), Key("x", places=1))
@dataclass(frozen=True)
class _Figure:
    share: float
    x: float


@report_keys(Key("fine", "figure", 6), Key("coarse", "figure", 2), Key("*", "figure"))
@dataclass(frozen=True)
class _Figures:
    figure: _Figure


def test_a_figure_has_the_same_decimals_wherever_it_stands():
    """Those of the key that it is the value of, four where that says nothing; rounded by hand."""
    assert reported(_Figures(_Figure(0.12345678, 3.14))) == {
        "fine": {"share": 0.123457, "x": 3.1},
        "coarse": {"share": 0.12, "x": 3.1},
        "share": 0.1235,
        "x": 3.1,
    }
