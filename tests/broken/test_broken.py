"""The drawing of changes, and the page that tells what became of them; the run itself is `python -m
tests.broken`."""

from __future__ import annotations

import ast

import pytest

from tests.broken.bench import ROOT, modules
from tests.broken.drawing import KINDS, broken, changes, drawn
from tests.broken.table import ALIKE, BEGIN, PAGE, Row, pruned, rows, stands, written

SOURCE = '''
"""Two heights - and a page."""
STEP = 0.5


def left(stack: int | None, gap: float) -> float:
    if stack.low < 3 and not stack.dry:
        return -stack.low + 2.0 * max(gap, STEP)
    return abs(gap) - 1e-9
'''


@pytest.fixture(scope="module")
def page() -> str:
    return PAGE.read_text("utf-8")


def pairs() -> set[tuple[str, str, str]]:
    return {(one.kind, one.before, one.after) for one in changes(SOURCE)}


@pytest.mark.parametrize(
    ("kind", "before", "after"),
    [
        (
            "plus for minus",
            "-stack.low + 2.0 * max(gap, STEP)",
            "-stack.low - 2.0 * max(gap, STEP)",
        ),
        ("times for by", "2.0 * max(gap, STEP)", "2.0 / max(gap, STEP)"),
        ("factor left out", "2.0 * max(gap, STEP)", "max(gap, STEP)"),
        ("term left out", "-stack.low + 2.0 * max(gap, STEP)", "-stack.low"),
        ("bound moved", "stack.low < 3", "stack.low <= 3"),
        ("comparison turned", "stack.low < 3", "stack.low >= 3"),
        ("and for or", "stack.low < 3 and not stack.dry", "stack.low < 3 or not stack.dry"),
        ("another constant", "0.5", "1.0"),
        ("least for most", "max(gap, STEP)", "min(gap, STEP)"),
        ("sign lost", "abs(gap)", "gap"),
        ("condition turned", "not stack.dry", "stack.dry"),
        ("neighbour's key", "stack.low", "stack.dry"),
    ],
)
def test_each_kind_of_mistake_is_made(kind: str, before: str, after: str) -> None:
    """A kind that draws nothing would be counted as tried."""
    assert (kind, before, after) in pairs()


def test_all_kinds_are_tried_above() -> None:
    assert {kind for kind, _, _ in pairs()} == {*KINDS, "neighbour's key"}


def test_only_arithmetic_is_broken() -> None:
    """A change in a text or an annotation lives whatever the tests do."""
    assert not any(before.endswith("1e-9") for _, before, _ in pairs()), (
        "a hair for ties is no arithmetic"
    )
    assert not any("page" in before or "None" in before for _, before, _ in pairs())


def test_a_change_is_one_place_of_a_text_that_still_parses() -> None:
    """Bytes, not characters, are counted: an umlaut before the place must not move it."""
    source = SOURCE.replace("page", "Höhe ≤ μ")
    for change in changes(source):
        text = broken(source, change)
        ast.parse(text)
        assert (
            text.count(change.after) > source.count(change.after) or change.after in change.before
        )
        assert len(text) == len(source) - len(change.before) + len(change.after) + 2


def test_a_seed_draws_the_same_and_another_draws_others() -> None:
    """A change that lived must be found again."""
    source = (ROOT / "corepath" / "stackup" / "linear.py").read_text("utf-8")
    assert drawn(source, 4, "1") == drawn(source, 4, "1") != drawn(source, 4, "2")
    assert (
        len({one.lines for one in drawn(source, 4, "1")})
        == len({one.kind for one in drawn(source, 4, "1")})
        == 4
    )


def test_every_module_of_stackup_and_post_can_be_broken() -> None:
    """A folder that was renamed would leave nothing to draw from."""
    some = [module for module in modules() if module.split("/")[1] in ("stackup", "gcode")]
    assert len(some) >= 30
    for module in some[::6]:
        assert drawn((ROOT / module).read_text("utf-8"), 1, f"1:{module}"), module


def test_thirty_places_and_more_are_named_and_stand(page: str) -> None:
    """What was caught in code that is gone proves nothing of the code there is. `python -m
    tests.broken --prune`."""
    gone = [row.text for row in (*rows(page), *rows(page, ALIKE)) if not stands(row)]
    assert not gone, "rows whose place is gone; take them out by `python -m tests.broken --prune`"
    kept = [row for row in rows(page) if row.module.startswith(("stackup/", "gcode/"))]
    assert len(kept) >= 30
    assert len({row.module for row in kept}) >= 20


def test_rows_of_either_table_are_pruned(page: str) -> None:
    """The advice above did nothing for a row of the second table."""
    gone = Row(
        "stackup/checks/verdict.py",
        "Check.nothing",
        "sign lost",
        "-1",
        "1",
        "what no test can tell",
    )
    for begin in (BEGIN, ALIKE):
        last = (rows(page, begin))[-1].text
        assert pruned(page.replace(last, f"{last}\n{gone.text}")) == page


def test_tests_that_caught_them_exist(page: str) -> None:
    """The table would send one to a test that nobody can run."""
    for row in rows(page):
        file, _, name = row.last.partition("::")
        text = (ROOT / "tests" / file.split(" ")[0]).read_text("utf-8")
        assert not name or f"def {name}(" in text, row.last


def test_rows_are_read_as_they_are_written(page: str) -> None:
    """A bar in the code must not end its cell."""
    row = Row(
        "stackup/linear.py",
        "module",
        "and for or",
        "a | b",
        "a or b",
        "stackup/test_linear.py::test_x",
    )
    assert rows(written(page, [row])) == [row]
    assert not stands(row) and not stands(Row("stackup/gone.py", "module", "", "", "", ""))
