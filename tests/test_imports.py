"""A module can be read without one that needs it in turn."""

from __future__ import annotations

from graphlib import TopologicalSorter

import grimp


def test_modules_import_each_other_in_a_circle():
    """Imports inside functions and those for types alone count as well."""
    graph = grimp.build_graph("corepath", cache_dir=None)
    sorter = TopologicalSorter(
        {name: graph.find_modules_directly_imported_by(name) for name in graph.modules}
    )
    # Raises CycleError, whose text names the modules of a circle, where there is one.
    order = list(sorter.static_order())
    assert order.index("corepath.errors") < order.index("corepath.cli.app")
