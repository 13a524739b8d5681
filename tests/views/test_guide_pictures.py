"""The pictures of README and guide are those that the script makes today, and every link leads to a
heading."""

from __future__ import annotations

import re
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "docs" / "pictures"
AGAIN = "drawings have changed: run `python samples/make_pictures.py` and look at docs/pictures"


@pytest.fixture(scope="module")
def maker() -> Iterator[ModuleType]:
    sys.path.insert(0, str(ROOT / "samples"))
    try:
        import make_pictures

        yield make_pictures
    finally:
        sys.path[:] = [part for part in sys.path if part != str(ROOT / "samples")]


@pytest.fixture(scope="module")
def quick(maker: ModuleType) -> dict[str, str]:
    return dict(maker.quick())


def test_the_section_pictures_are_what_the_script_makes(quick: dict[str, str]) -> None:
    """A relation or a sample that changed leaves old figures in a picture."""
    assert len(quick) == 4
    for name, text in quick.items():
        assert (PICTURES / name).read_text("utf-8") == text, f"{name}: {AGAIN}"


def test_the_section_pictures_show_the_figures_of_the_page(quick: dict[str, str]) -> None:
    """The signs of the page's table, with the values worked out beside them."""
    said = {
        name: [e.text for e in ET.fromstring(text).iter() if e.text] for name, text in quick.items()
    }
    assert {"D 12.4", "f 1.2", "T 13.6", "gA"} <= set(said["stack-A.svg"])
    assert {"D 12.4", "s 11.9", "T + gB", "gB"} <= set(said["stack-B.svg"])
    assert {"h 11", "clean-up 0.9", "p 1.66", "s − gB + gC", "gC"} <= set(said["stack-C.svg"])


@pytest.mark.slow
@pytest.mark.parametrize("sample", ["board-1280", "coupon", "with waste"])
def test_the_planned_pictures_are_what_the_script_makes(maker: ModuleType, sample: str) -> None:
    made = maker.with_waste() if sample == "with waste" else maker.planned(sample)
    for name, text in made.items():
        assert (PICTURES / name).read_text("utf-8") == text, f"{name}: {AGAIN}"


def test_no_picture_is_left_over_and_none_is_missing(
    maker: ModuleType, quick: dict[str, str]
) -> None:
    wanted = {f"{sample}-{name}" for sample, names in maker.WANTED.items() for name in names} | set(
        quick
    )
    wanted |= {"-".join(maker.BEYOND)} | set(maker.of_the_page())
    shown = {
        Path(target).name
        for page in (ROOT / "README.md", *(ROOT / "docs").rglob("*.md"))
        for target in re.findall(r"!\[[^\]]*\]\(([^)]+\.(?:svg|png))\)", page.read_text("utf-8"))
    }
    assert {path.name for path in PICTURES.iterdir()} == wanted == shown


def anchors(text: str) -> set[str]:
    """Names of a page's headings as links write them: small letters, hyphens for spaces, other
    signs left out."""
    prose = re.sub(r"^```.*?^```", "", text, flags=re.M | re.S)
    headings = re.findall(r"^#+ (.+)$", prose, re.M)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def test_links_to_headings_lead_to_one() -> None:
    """A heading that was reworded leaves links behind that end at the top of the page."""
    pages = [*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")]
    for page in pages:
        for target, anchor in re.findall(
            r"\]\((?!https?:)([^)#\s]*)#([^)\s]+)\)", page.read_text("utf-8")
        ):
            other = (page.parent / target) if target else page
            assert anchor in anchors(other.read_text("utf-8")), (
                f"{page.relative_to(ROOT)}: {target}#{anchor}"
            )


def test_headings_are_named_as_links_write_them() -> None:
    assert anchors("# A, deck up\n```\n# not one\n```\n## In X and Y\n### `recess` first\n") == {
        "a-deck-up", "in-x-and-y", "recess-first",
    }  # fmt: skip
