"""Keys of the deck that contradict each other: there is one source of heights, with its own keys.

A *source* is where the heights come from: `stations`, `mesh` or `grid`. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterator

from corepath.job.model import DeckSection, PatchSection
from corepath.job.text.positions import Path

__all__ = ["deck_contradictions"]

_LEAST_BAND = 2.0
"""Least `edge_band` of a mesh or grid: a narrower one is two steps of the deck's grid, no blend."""

MESH_ENDINGS = (".stl", ".obj", ".ply")
GRID_ENDINGS = (".csv", ".npy")
_OF_STATIONS = ("blend", "smooth")

Contradiction = tuple[Path, str, str]


def deck_contradictions(deck: DeckSection) -> Iterator[Contradiction]:
    """Yield (path, what is wrong, what is allowed) for each contradiction among the deck's keys."""
    sources = {"stations": deck.stations, "mesh": deck.mesh, "grid": deck.grid}
    given = [name for name, value in sources.items() if value is not None]
    if not given:
        yield (
            ("deck", "stations"),
            "missing key",
            "[[x, thickness], …], or mesh or grid with the name of a file",
        )
    for name in given[1:]:
        says = f"the deck's heights are given more than once: {', '.join(given)}"
        yield ("deck", name), says, "exactly one of stations, mesh, grid"
    if deck.profile is not None and deck.stations is None and given:
        yield (
            ("deck", "profile"),
            "goes with deck.stations only",
            f"profile beside stations; the {given[0]} has its own",
        )
    if deck.sha256 is not None and deck.mesh is None and deck.grid is None and given:
        yield (
            ("deck", "sha256"),
            "goes with deck.mesh or deck.grid only",
            "sha256 beside mesh or grid",
        )
    if len(given) == 1:
        yield from _file_keys(deck)
    for place, patch in enumerate(deck.patch):
        yield from _patch(("deck", "patch", place), patch)


def _file_keys(deck: DeckSection) -> Iterator[Contradiction]:
    defaults = DeckSection.model_fields
    if deck.stations is None:
        source = "mesh" if deck.mesh is not None else "grid"
        for key in _OF_STATIONS:
            # A key typed with its default value cannot be told from one left out; it does no harm.
            if getattr(deck, key) != defaults[key].default:
                says = f"goes with deck.stations only: heights of a {source} are not changed by it"
                yield (
                    ("deck", key),
                    says,
                    f"{key} beside stations; for a {source}, edge_band and {source}_smooth",
                )
    for source, endings in (("mesh", MESH_ENDINGS), ("grid", GRID_ENDINGS)):
        name = getattr(deck, source)
        if name is None:
            for key, field in defaults.items():
                if key.startswith(f"{source}_") and getattr(deck, key) != field.default:
                    yield ("deck", key), f"goes with deck.{source} only", f"{key} beside {source}"
            continue
        if not name.lower().endswith(endings):
            yield (
                ("deck", source),
                "is no kind of file that is read here",
                f"a name that ends in {', '.join(endings)}",
            )
        if getattr(deck, f"{source}_units") is None:
            says = f"missing key: the file of the {source} does not state its units"
            yield ("deck", f"{source}_units"), says, '"mm" or "cm" or "m" or "inch"'
        if deck.edge_band < _LEAST_BAND:
            says = f"leaves the {source} no room to meet the edge thickness"
            yield ("deck", "edge_band"), says, f"at least {_LEAST_BAND:g} mm"
    if deck.grid is not None:
        npy = deck.grid.lower().endswith(".npy")
        for key in ("grid_origin", "grid_spacing"):
            if npy and getattr(deck, key) is None:
                yield ("deck", key), "missing key: an NPY file holds heights alone", "[x, y]"
            elif not npy and getattr(deck, key) is not None:
                yield (
                    ("deck", key),
                    "goes with an NPY file only",
                    "left out: a CSV file holds its own x and y",
                )


def _patch(at: Path, patch: PatchSection) -> Iterator[Contradiction]:
    kinds = [name for name in ("flat", "raised", "sunk") if getattr(patch, name) is not None]
    if len(kinds) != 1:
        says = (
            f"is {' and '.join(kinds)} at once"
            if kinds
            else "says neither a height nor by how much"
        )
        yield at, says, "exactly one of flat, raised, sunk"
    forms = [name for name in ("diameter", "size", "points") if getattr(patch, name) is not None]
    if len(forms) != 1:
        says = f"has more than one form: {', '.join(forms)}" if forms else "has no form"
        yield at, says, "diameter or size, each with at, or points"
    elif forms == ["points"] and patch.at is not None:
        yield (*at, "at"), "goes with diameter or size; points stand where they are", "left out"
    elif forms != ["points"] and patch.at is None:
        yield (*at, "at"), "missing key", "[[x, y], …]"
    if patch.angle != 0.0 and forms and forms != ["size"]:
        yield (*at, "angle"), "goes with size only", "left out"
