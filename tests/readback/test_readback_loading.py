"""The loops loaded ahead of time are those that a read-back runs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from numba import typeof

from corepath.readback.motion import descents
from corepath.readback.surfaces import exact_deck
from corepath.stock import loading, material

CALLED_FROM = (
    (material, "cut_pieces"),
    (material, "fill_polygon"),
    (loading, "sweep_points"),
    (descents, "sweep_points"),
    (exact_deck, "sweep_points"),
)


def _watched(name: str, loop: Callable[..., Any], seen: set[tuple[str, str]]) -> Any:
    """The loop, noting the types that it is called with: for each there is one compiled loop."""

    def call(*given: Any) -> Any:
        seen.add((name, str(tuple(typeof(one) for one in given))))
        return loop(*given)

    return call


def test_a_loop_is_loaded_for_other_types_than_the_read_back_has(
    plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each process would load, or in a first run compile, the right one besides."""
    seen: set[tuple[str, str]] = set()
    for module, name in CALLED_FROM:
        monkeypatch.setattr(module, name, _watched(name, getattr(module, name), seen))
    loading.load_loops()
    loaded = set(seen)
    seen.clear()
    plan.read()
    assert seen == loaded and {name for name, _ in seen} == {name for _, name in CALLED_FROM}
