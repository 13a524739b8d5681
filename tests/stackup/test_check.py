"""One check as the report has it."""

from corepath.reported import reported
from corepath.stackup.checks.judge import judge
from corepath.stackup.linear import Linear


def test_what_is_to_spare_is_counted_from_the_limit() -> None:
    """0.75 of wood where 0.6 are asked for leaves 0.15, in the table as in the report: not 0.75."""
    check = judge("floor", 0.75 + Linear.term("bed", 0.05), 0.6, message="", where="groove", fix="")
    assert round(check.margin, 9) == 0.15
    entry = reported(check)
    assert (entry["value"], entry["limit"], entry["margin"]) == (0.75, 0.6, 0.15)
    assert (entry["worst"], entry["rss"]) == (0.7, 0.7)
