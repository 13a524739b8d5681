"""Makes the pictures of the README from the samples: `python samples/make_pictures.py`, after each change of drawings.

They are the drawings that `corepath preview` writes, copied into docs/pictures/ as they are.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from corepath.planning import prepare, preview

SAMPLES = Path(__file__).resolve().parent
PICTURES = SAMPLES.parent / "docs" / "pictures"
WANTED = {"board-1280": ("overview.svg",), "coupon": ("03-A-groove.svg",)}


def main() -> None:
    """Write each wanted drawing as SAMPLE-DRAWING.svg."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    for sample, names in WANTED.items():
        with tempfile.TemporaryDirectory() as folder:
            preview(prepare(SAMPLES / f"{sample}.toml"), Path(folder))
            for name in names:
                (PICTURES / f"{sample}-{name}").write_bytes((Path(folder) / name).read_bytes())


if __name__ == "__main__":
    main()
