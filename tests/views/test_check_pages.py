"""Each page of a check shows its relation and the sample's figures: they must stay those that
`check` prints."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from corepath.planning.prepare import prepare

ROOT = Path(__file__).parents[2]
PAGES = ROOT / "docs" / "checks"
WITHOUT = {
    "beyond",
    "held",
    "obstacles",
    "power",
    "screws",
    "skin",
    "travel",
    "uncut",
    "web",
}  # no figure of the coupon, or one that says nothing
FIGURES = re.compile(
    r"In `samples/coupon\.toml`:\*\* (?:[^,=]*, )?(?:([\d.\s()+−×/]+) = )?([\d.]+), worst "
    r"([\d.]+), limit ([\d.]+)\."
)


@pytest.fixture(scope="module")
def coupon() -> Any:
    return prepare(ROOT / "samples" / "coupon.toml")


def tightest(checks: Any, name: str) -> Any:
    return min(
        (check for check in checks if check.id == name), key=lambda check: check.worst - check.limit
    )


def test_every_page_with_a_figure_says_what_the_check_finds(coupon: Any) -> None:
    pages = {
        path.stem: " ".join(path.read_text(encoding="utf-8").split()) for path in PAGES.glob("*.md")
    }
    found = {name: FIGURES.search(text) for name, text in pages.items()}
    assert {name for name, match in found.items() if match is None} == WITHOUT
    for name, match in found.items():
        if match is None:
            continue
        check = tightest(coupon.checks, name)
        assert [float(part) for part in match.groups()[1:]] == pytest.approx(
            [check.value, check.worst, check.limit], abs=0.00051
        ), name


def test_the_sums_on_the_pages_come_out(coupon: Any) -> None:
    """Each is worked out from the figures that it shows, which are rounded to a hundredth."""
    done = 0
    for path in sorted(PAGES.glob("*.md")):
        match = FIGURES.search(" ".join(path.read_text(encoding="utf-8").split()))
        if match is not None and match[1]:
            sums = match[1].replace("−", "-").replace("×", "*")
            assert eval(sums, {"__builtins__": {}}) == pytest.approx(float(match[2]), abs=0.011), (
                path.name
            )
            done += 1
    assert done >= 12


def test_every_page_but_one_has_its_relation_in_one_line() -> None:
    for path in PAGES.glob("*.md"):
        relation = re.findall(r"^    \S.*$", path.read_text(encoding="utf-8"), re.M)
        assert len(relation) == (0 if path.stem == "held" else 1), path.name
