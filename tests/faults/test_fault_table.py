"""The bench's table in the guide: of all its rules, as the last run wrote it."""

from __future__ import annotations

import re
from pathlib import Path

from tests.faults.bench import EVERY_RULE
from tests.faults.table import PAGE, Row, rows_in, write


def test_the_table_has_every_rule_and_none_that_is_gone() -> None:
    """A rule that was added and never run proves nothing: run the bench with --write."""
    assert [row.rule for row in rows_in(PAGE.read_text())] == list(EVERY_RULE)


def test_nothing_is_missed_in_the_table() -> None:
    """Each rule was tried, and each of its faults that must be found was."""
    text = PAGE.read_text()
    rows = rows_in(text)
    assert [
        row.rule
        for row in rows
        if row.faults == 0 or row.found != row.must or row.must > row.faults
    ] == []
    must = sum(row.must for row in rows)
    assert re.search(
        rf"^Last run: {len(rows)} rules, seeds? [\d, ]+; of {must} "
        r"faults",
        text,
        re.MULTILINE,
    )
    assert f"that must be found {sum(row.found for row in rows)} were found." in text


def test_a_run_replaces_the_table_and_nothing_else(tmp_path: Path) -> None:
    """What stands before and after stays; a second run leaves no row of the first."""
    page = tmp_path / "page.md"
    head = "| rule | faults | must be found | found | harmless, told too |\n|---|---|---|---|---|\n"
    for after in ("", "\n## Next\n"):
        page.write_text(f"# Page\n\nLast run: none\n\n{head}{after}")
        write([Row("old", 3, 2, 2, 0), Row("gone", 1, 1, 1, 0)], [1], page)
        write([Row("sign: lost", 5, 4, 3, 1)], [261, 262], page)
        assert rows_in(page.read_text()) == [Row("sign: lost", 5, 4, 3, 1)]
        assert page.read_text() == (
            "# Page\n\nLast run: 1 rules, seeds 261, 262; of 4 faults that must be found 3 were "
            "found.\n\n"
            f"{head}| sign: lost | 5 | 4 | 3 | 1 |\n| all | 5 | 4 | 3 | 1 |\n{after}"
        )
