"""Where the samples lie, which `corepath new --from` copies by name."""

from __future__ import annotations

from pathlib import Path

__all__ = ["sample_path", "samples", "samples_folder"]

_SHOP = "shop"


def samples_folder() -> Path:
    """Return the folder of the samples: inside the package when installed from a wheel, beside it
    in the source."""
    package = Path(__file__).parents[2]
    inside = package / "samples"
    return inside if inside.is_dir() else package.parent / "samples"


def sample_path(name: str) -> Path | None:
    """Return the path of the sample of this name; None where there is none."""
    return _paths().get(name)


def samples() -> list[str]:
    """Return the names of the samples, sorted."""
    return sorted(_paths())


def _paths() -> dict[str, Path]:
    """Return the samples by name, also those in a folder below, but for the shop files there."""
    folder = samples_folder()
    found = (*folder.glob("*.toml"), *folder.glob("*/*.toml"))
    return {path.stem: path for path in found if path.stem != _SHOP}
