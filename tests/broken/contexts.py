"""A plugin of pytest (`-p tests.broken.contexts`) that has coverage keep apart what each test file
reaches.

Files, not tests: a fixture shared by a file belongs to all of its tests.
"""

from __future__ import annotations

import coverage

__all__ = ["pytest_runtest_logstart"]


def pytest_runtest_logstart(nodeid: str, location: object) -> None:
    """What runs from here on, fixtures too, is the doing of this file."""
    current = coverage.Coverage.current()
    if current is not None:
        current.switch_context(nodeid.split("::")[0])
