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
    from corepath.caching.folder_store import store_of
    from corepath.planning.plan import preview
    from corepath.planning.prepare import prepare

    with tempfile.TemporaryDirectory() as folder:
        preview(prepare(SAMPLES / f"{sample}.toml"), Path(folder), store=store_of())
        return {
            f"{sample}-{name}": (Path(folder) / name).read_text("utf-8") for name in WANTED[sample]
        }


def main() -> None:
    """Write all of them into docs/pictures/."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    for made in (quick(), *(planned(sample) for sample in WANTED)):
        for name, text in made.items():
            (PICTURES / name).write_bytes(text.encode("utf-8"))


if __name__ == "__main__":
    main()
