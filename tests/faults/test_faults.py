"""A sample of the bench of faults: one a rule, in what is quick to read; and twins that must read
alike."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pytest

from corepath.gcode.read.motions import read_program
from tests.faults.bench import EVERY_RULE, Bench, Fault
from tests.faults.rules import FILE_RULES

pytestmark = pytest.mark.slow

TRIES = 40


@pytest.fixture(scope="module")
def bench() -> Bench:
    return Bench()


def drawn(bench: Bench, rule: str) -> Fault:
    """The first fault of a rule that must be found; in A and B, but for what only C can show."""
    for seed in range(TRIES):
        fault = bench.draw(rule, seed, "ABC" if rule in FILE_RULES else "AB")
        if fault is not None and bench.must(fault):
            return fault
    raise AssertionError(f"{rule}: none of {TRIES} faults does any harm")


@pytest.mark.parametrize("rule", [rule for rule in EVERY_RULE if rule != "G1 for G0"])
def test_a_fault_that_does_harm_is_found(bench: Bench, rule: str) -> None:
    """Judged by a stamping loop of its own; missed, it would have gone to the machine."""
    fault = drawn(bench, rule)
    assert bench.kinds(fault), f"{fault.file}, seed {fault.seed}: {bench.must(fault)}"


def test_the_loop_tells_harm_from_none(bench: Bench) -> None:
    """A bench whose judge calls everything harmless proves nothing, nor one that calls all of it
    harm."""
    name = "03-A-groove.nc"
    same = Fault("none", 0, name, dict(bench.texts))
    assert bench.must(same) == ""
    deeper = bench.texts[name].replace("Z1.2000", "Z1.0500")
    assert bench.must(Fault("none", 0, name, {**bench.texts, name: deeper})).startswith(
        "lower than ever"
    )
    short = "\n".join([*bench.texts[name].split("\n")[:-300], "M5", "M2", ""])
    assert bench.must(Fault("none", 0, name, {**bench.texts, name: short}))


def by_line(change: Callable[[str], str]) -> Callable[[str], str]:
    """All lines changed that are not comments."""
    return lambda text: "\n".join(
        line if line.startswith("(") else change(line) for line in text.split("\n")
    )


TWINS = {
    "comments": lambda text: re.sub(r"^(G1 .*)$", r"\1 (a word)", text, flags=re.M),
    "line numbers": lambda text: re.sub(r"^(?=.)", "N120 ", text, flags=re.M),
    "no spaces": by_line(lambda line: line.replace(" ", "")),
    "more spaces": by_line(lambda line: line.replace(" ", "   ").replace("X", "X  ")),
    "lower case": by_line(str.lower),
    "modal words repeated": lambda text: re.sub(r"^(G1 .*)$", r"G90 G17 \1", text, flags=re.M),
    "modal words left out": lambda text: re.sub(r"(?<=\n)(G([13]) [^\n]*\n)G\2 ", r"\1", text),
    "zeros before and "
    "after": lambda text: re.sub(r"([XYZIJ])(-?)(\d+\.\d+)", r"\1\g<2>00\g<3>00", text),
    "plus signs": lambda text: re.sub(r"([XYZIJ])(\d)", r"\1+\2", text),
    "leading zeros of codes": lambda text: re.sub(r"^G([0123]) ", r"G0\1 ", text, flags=re.M),
    "words in another order": lambda text: re.sub(r"^(G[01]) (\S+) "
                                                  r"(\S+)$", r"\3 \2 \1", text, flags=re.M),
    "line ends of another system": lambda text: text.replace("\n", "\r\n"),
    "percent signs round it": lambda text: f"%\n{text}%\n",
}  # fmt: skip


@pytest.mark.parametrize("name", ["03-A-groove.nc", "05-B-skim-all.nc"])
@pytest.mark.parametrize("twin", TWINS)
def test_a_harmless_twin_reads_the_same(bench: Bench, twin: str, name: str) -> None:
    """Another writer's habits are no fault: the same motions, and nothing found."""
    text = bench.texts[name]
    other = TWINS[twin](text)
    assert other != text
    one, two = read_program(text, name), read_program(other, name)
    assert list(two.findings) == []
    for field in ("kind", "start", "end", "feed"):
        np.testing.assert_allclose(
            getattr(two, field), getattr(one, field), atol=1e-9, equal_nan=True
        )


def test_all_twins_at_once_give_no_finding(bench: Bench) -> None:
    """Through the whole read-back, not the reader alone."""
    texts = {
        name: TWINS["line numbers"](TWINS["comments"](TWINS["lower case"](text)))
        for name, text in bench.texts.items()
    }
    assert bench.found(texts, "06-B-inserts.nc") == ()
