"""Makes the pictures of README and guide from the samples; to be run after each change of drawings.

Those of the README are the drawings that `corepath preview` writes, as they are; those of
docs/arithmetic.md come from `stack_pictures`. A test compares them with what is committed. Those of
docs/edit.md come from a browser: `page_pictures.py` makes them.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

SAMPLES = Path(__file__).resolve().parent
PICTURES = SAMPLES.parent / "docs" / "pictures"
WANTED = {
    "board-1280": ("overview.svg", "07-C-deck-rough.svg", "08-C-deck.svg"),
    "coupon": ("03-A-groove.svg", "08-C-deck.svg"),
}

"""The drawings of each sample as it is."""
BEYOND = "board-1280-beyond", "08-C-deck.svg"
"""What board-1280 with `deck.beyond` is called, and its drawing; its skin then covers the board."""
CHANGES = (
    ("[deck]\n", "[deck]\nbeyond = 25.0\n"),
    ("thickness = 0.6\n", 'thickness = 0.6\ncovers = "board"\n'),
)

sys.path.insert(0, str(SAMPLES))


def quick() -> dict[str, str]:
    """Pictures that need no paths, by file name."""
    from stack_pictures import stack_pictures

    return stack_pictures(SAMPLES / "board-1280.toml")


def of_the_page() -> tuple[str, ...]:
    """Names of the pictures that `page_pictures.py` makes."""
    from page_pictures import SHOWN

    return tuple(SHOWN)


def planned(sample: str) -> dict[str, str]:
    """The wanted drawings of a sample, whose paths are found for them, as SAMPLE-DRAWING.svg."""
    return _drawn(SAMPLES / f"{sample}.toml", sample, WANTED[sample])


def with_waste() -> dict[str, str]:
    """The drawing of board-1280's deck finished only so far as skin and bag reach."""
    text = (SAMPLES / "board-1280.toml").read_text("utf-8")
    for old, new in CHANGES:
        if old not in text:
            raise ValueError(f"board-1280.toml has no longer {old!r}")
        text = text.replace(old, new, 1)
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "board-1280.toml"
        job.write_bytes(text.encode("utf-8"))
        return _drawn(job, BEYOND[0], BEYOND[1:])


def _drawn(job: Path, called: str, names: tuple[str, ...]) -> dict[str, str]:
    from corepath.caching.folder_store import store_of
    from corepath.planning.plan import preview
    from corepath.planning.prepare import prepare

    with tempfile.TemporaryDirectory() as folder:
        preview(prepare(job), Path(folder), store=store_of())
        return {f"{called}-{name}": (Path(folder) / name).read_text("utf-8") for name in names}


def main() -> None:
    """Write all of them into docs/pictures/."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    for made in (quick(), *(planned(sample) for sample in WANTED), with_waste()):
        for name, text in made.items():
            (PICTURES / name).write_bytes(text.encode("utf-8"))


if __name__ == "__main__":
    main()
