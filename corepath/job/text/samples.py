"""Where the samples lie, which `corepath new --from` copies by name."""

from __future__ import annotations

from pathlib import Path

__all__ = ["samples", "samples_folder"]


def samples_folder() -> Path:
    """Return the folder of the samples: inside the package when installed from a wheel, beside it
    in the source."""
    package = Path(__file__).parents[2]
    inside = package / "samples"
    return inside if inside.is_dir() else package.parent / "samples"


def samples() -> list[str]:
    """Return the names of the samples, sorted."""
    return sorted(path.stem for path in samples_folder().glob("*.toml"))
