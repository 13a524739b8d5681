"""One table of the kinds of entry: what is added there must reach option, help, file, rules,
planning and guide."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from corepath.cli.commands.record import record_command
from corepath.cli.commands.record_options import RecordCommand, entries_from, words_of
from corepath.errors import InputError
from corepath.job.record import gather
from corepath.job.record.ascut import Record, load_record, record_path, save_record
from corepath.job.record.entry_kinds import KINDS, Entry, EntryKind, Typed
from corepath.job.record.reasons import Reason
from corepath.job.record.record_facts import CastingFacts, JobFacts
from corepath.job.record.settled import Settled
from corepath.job.text.starter import starter_text
from tests.guide.record_reference import record_reference

ROOT = Path(__file__).parents[2]


def _hot(entry: Entry, progress: object, facts: JobFacts) -> Iterator[Reason]:
    if (entry.value or 0.0) > 25.4:
        yield Reason("sags more than an inch", "less")


SAG = EntryKind(
    "sag of the casting",
    ("casting", "value"),
    typed=(
        Typed(
            "--sag",
            (("NAME", "casting"), ("S", "value")),
            "How far a casting sagged while it cured.",
        ),
    ),
    after="groove",
    shows="resin",
    rule=_hot,
    settles=(("sag", gather.latest_by("casting")),),
    when="after the cure",
    replaces="nothing yet",
)
FACTS = JobFacts(
    file="b.toml",
    units="inch",
    title="b",
    length=300,
    width=100,
    thickness=10,
    tolerance=0.1,
    groove_width=10,
    castings={"P1": CastingFacts("P1", "plug-pockets", 8.8)},
    operations=("plug-pockets", "groove", "skim"),
    cutters={1: 6.0},
)


@pytest.fixture
def sag(monkeypatch: pytest.MonkeyPatch) -> EntryKind:
    """A made-up kind, added to the table and nowhere else."""
    monkeypatch.setitem(KINDS, "sag", SAG)
    return SAG


def test_a_new_kind_has_no_option_or_help(
    sag: EntryKind, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = typer.Typer(rich_markup_mode=None)
    app.command(cls=RecordCommand)(record_command())
    shown = CliRunner().invoke(app, ["--help"], env={"COLUMNS": "200", "NO_COLOR": "1"}).output
    assert "--sag NAME S" in shown and "How far a casting sagged" in shown
    assert words_of()["--sag"] == ("NAME", "S")
    monkeypatch.chdir(tmp_path)
    Path("b.toml").write_text(starter_text("b"))
    result = CliRunner().invoke(app, ["b.toml", "--cut", "groove", "--sag", "P1", "0.3"])
    assert result.exit_code == 0, result.output
    assert "sag of the casting" in result.stdout
    assert load_record(Path("b.ascut.toml")).settled().more == {"sag": {"P1": 0.3}}


def test_a_new_kind_is_not_written_or_read(sag: EntryKind, tmp_path: Path) -> None:
    """In a file in inches: 0.25 in is 6.35 mm."""
    path = record_path(tmp_path / "b.toml")
    entries = entries_from({"--sag": ["P1\x1f0.25"], "--cut": ["groove"]}, scale=25.4, common={})
    save_record(Record().add_all(entries, FACTS), path)
    text = path.read_text()
    assert 'kind = "sag"' in text and "value = 0.25" in text
    held = load_record(path)
    assert held.entries[1].value == pytest.approx(6.35)
    assert held.stage == "cast"
    assert Settled.from_dict(held.settled().as_dict()) == held.settled()


def test_a_new_kinds_rule_is_not_asked(sag: EntryKind) -> None:
    record = Record().add(Entry("cut", operation="groove"), FACTS)
    with pytest.raises(InputError, match="more than an inch"):
        record.add(Entry("sag", casting="P1", value=30.0), FACTS)
    with pytest.raises(InputError, match="no casting P7"):
        record.add(Entry("sag", casting="P7", value=3.0), FACTS)
    with pytest.raises(InputError, match="needs value"):
        record.add(Entry("sag", casting="P1"), FACTS)


def test_a_new_kind_is_missing_in_the_guide(sag: EntryKind) -> None:
    line = "| `--sag NAME S` | after the cure | nothing yet | `sag` | `casting`, `value` |"
    assert line in record_reference().splitlines()


def test_the_guide_has_another_table_than_the_code() -> None:
    """docs/record.md is what a builder types by."""
    assert record_reference() in (ROOT / "docs" / "record.md").read_text(encoding="utf-8")


def test_every_kind_tells_when_it_is_used() -> None:
    assert [name for name, kind in KINDS.items() if not kind.when or not kind.what] == []
    assert [name for name, kind in KINDS.items() if not kind.typed] == ["note"]


def test_a_settled_figure_is_lost_on_its_way_through_the_plans_folder() -> None:
    """`job.resolved.json` keeps what is settled; cutters are numbers, cuts a set."""
    settled = Settled(
        thickness=((1.0, 2.0, 10.0),),
        fill={"P1": 0.5},
        top_ups=(("P1", 3.0, None),),
        voids=("P1",),
        stop=3,
        stop_plane=9.4,
        coupon_diameter={2: 5.9},
        cut=frozenset({"groove", "dowels"}),
        stage="B",
        more={"sag": {"P1": 0.2}},
    )
    assert Settled.from_dict(settled.as_dict()) == settled
