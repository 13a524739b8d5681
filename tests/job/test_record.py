"""The as-cut record: nothing is lost, what cannot be is refused, and what stands is what planning
gets."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.errors import Fault, InputError, OutputError
from corepath.job.record.ascut import Record, load_record, record_path, save_record
from corepath.job.record.entry_kinds import KINDS, Entry
from corepath.job.record.next_steps import next_measurements
from corepath.job.record.record_facts import CastingFacts, JobFacts, Within, off_stop
from corepath.job.text import source

DAY = "2026-05-17"


def _ring_distance(x: float, y: float) -> float:
    """A groove round the origin, from radius 95 to 105."""
    return max(0.0, abs(math.hypot(x, y) - 100.0) - 5.0)


FACTS = JobFacts(
    file="job.toml",
    units="mm",
    title="Test piece",
    length=300.0,
    width=240.0,
    thickness=10.0,
    tolerance=0.1,
    groove_width=10.0,
    castings={
        "groove": CastingFacts(
            "groove", "groove", 8.8, _ring_distance, ((100.0, 0.0), (-100.0, 0.0))
        ),
        "P1a": CastingFacts("P1a", "plug-pockets", 8.8),
        "P1b": CastingFacts("P1b", "plug-pockets", 8.8),
    },
    operations=(
        "dowels",
        "plug-pockets",
        "groove",
        "skim",
        "inserts",
        "deck-rough",
        "deck",
        "trim",
        "bolt-holes",
    ),
    cutters={1: 6.0, 2: 20.0},
    planes=(9.9, 9.4, 8.9, 8.4),
    planned_plane=8.9,
)


def thickness(x: float, y: float, value: float, **more: object) -> Entry:
    return Entry("thickness", at=(x, y), value=value, date=DAY, **more)  # type: ignore[arg-type]


def after(x: float, y: float, value: float, **more: object) -> Entry:
    return Entry("thickness-after", at=(x, y), value=value, date=DAY, **more)  # type: ignore[arg-type]


def groove(x: float, y: float, value: float) -> Entry:
    return Entry("groove-depth", at=(x, y), value=value, date=DAY)


def fill(casting: str, value: float, **more: object) -> Entry:
    return Entry("fill", casting=casting, value=value, date=DAY, **more)  # type: ignore[arg-type]


def cut(operation: str) -> Entry:
    return Entry("cut", operation=operation, date=DAY)


def stop(number: int, **more: object) -> Entry:
    return Entry("stop", number=number, date=DAY, **more)  # type: ignore[arg-type]


def record_of(*entries: Entry) -> Record:
    record = Record()
    for entry in entries:
        record = record.add(entry, FACTS)
    return record


def refused(record: Record, *entries: Entry, facts: JobFacts = FACTS) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        record.add_all(entries, facts)
    return caught.value.faults


STORY = (
    thickness(0, 0, 10.05),
    cut("dowels"),
    cut("plug-pockets"),
    cut("groove"),
    groove(100, 0, 8.85),
    Entry("pocket-depth", casting="P1a", value=8.8, date=DAY),
    fill("groove", 0.6),
    fill("P1a", 1.3),
    Entry("top-up", casting="P1a", value=4.5, unit="g", date=DAY),
    Entry("void", casting="P1b", date=DAY),
    stop(3),
    after(0, 0, 8.9),
    cut("inserts"),
    Entry("touch", operation="deck", value=8.95, date=DAY),
    cut("deck"),
)


# --- what stands


def test_numbers_and_stages_follow_the_work() -> None:
    """An entry without number or stage could not be corrected, nor a width be told to belong to a
    stage."""
    record = record_of(*STORY)
    assert [entry.n for entry in record.entries] == list(range(1, len(STORY) + 1))
    stages = [entry.stage for entry in record.entries]
    assert stages == ["blank", *["A"] * 5, *["cast"] * 4, "B", "B", "inserts", "inserts", "C"]
    assert record.stage == "C"


def test_settled_gives_the_planner_every_figure() -> None:
    """A figure that is missing here would silently be predicted instead of taken from the
    machine."""
    settled = record_of(*STORY).settled()
    assert settled.thickness == ((0, 0, 10.05),)
    assert settled.thickness_after == ((0, 0, 8.9),)
    assert settled.groove_depth == ((100, 0, 8.85),)
    assert settled.pocket_depth == {"P1a": 8.8}
    assert settled.fill == {"groove": 0.6, "P1a": 1.3}
    assert settled.top_ups == (("P1a", 4.5, None),)
    assert settled.topped_up == ("P1a",)
    assert settled.voids == ("P1b",)
    assert (settled.stop, settled.stop_plane, settled.passes) == (3, 8.9, 3)
    assert settled.touches == {"deck": 8.95}
    assert settled.cut == {"dowels", "plug-pockets", "groove", "inserts", "deck"}
    assert settled.skimmed


def test_empty_record_settles_nothing() -> None:
    """The digest of a plan must be the same with no record and with an empty one."""
    assert Record().settled().as_dict() == {}
    assert not Record().settled()


def test_as_dict_is_plain_and_in_a_fixed_order() -> None:
    """A set in it would give another digest in another run."""
    import json

    settled = record_of(*STORY).settled()
    again = json.loads(json.dumps(settled.as_dict()))
    assert again == settled.as_dict()
    assert again["cut"] == sorted(again["cut"])


def test_correction_supersedes_and_keeps() -> None:
    """A corrected figure that still counted would spoil the plan; one that vanished would be
    lost."""
    record = record_of(
        thickness(0, 0, 10.05), thickness(50, 0, 10.0), thickness(0, 0, 10.15, corrects=1)
    )
    assert [entry.n for entry in record.standing] == [3, 2]
    assert len(record.entries) == 3
    assert record.corrected_by(1) == 3
    assert record.settled().thickness == ((0, 0, 10.15), (50, 0, 10.0))


def test_correction_of_a_correction_keeps_the_first_place_and_stage() -> None:
    """The order of the work must not change when an early figure is mended late."""
    record = record_of(
        *STORY[:12], thickness(0, 0, 10.0, corrects=1), thickness(0, 0, 10.1, corrects=13)
    )
    assert record.entries[-1].stage == "blank"
    assert record.standing[0].n == 14


def test_withdrawn_entry_counts_no_more() -> None:
    """A stop recorded by mistake has no right figure; it must be possible to take it out of
    account."""
    record = record_of(*STORY[:11], Entry("withdrawn", corrects=11, date=DAY))
    assert record.settled().stop is None
    assert record.stage == "cast"
    assert len(record.entries) == 12


def test_readings_at_one_place_are_averaged_and_fills_replaced() -> None:
    """Two readings of one place are two looks at one thing; two fills of a casting are not."""
    record = record_of(
        thickness(0, 0, 10.0), thickness(0.5, 0, 10.2), cut("groove"), fill("groove", 0.9)
    )
    settled = record.add(fill("groove", 0.7), FACTS).settled()
    assert settled.thickness == ((0, 0, pytest.approx(10.1)),)
    assert settled.fill == {"groove": 0.7}


def test_top_up_is_settled_by_the_next_fill() -> None:
    """A topped-up casting counts with its old, lower fill until it is measured again."""
    record = record_of(
        cut("groove"),
        fill("P1a", 2.0),
        Entry("top-up", casting="P1a", value=1.2, unit="mm", date=DAY),
    )
    assert record.settled().fill == {"P1a": 2.0}
    assert record.settled().topped_up == ("P1a",)
    assert record.settled().top_ups == (("P1a", None, 1.2),)
    again = record.add(fill("P1a", 0.8), FACTS).settled()
    assert (again.fill, again.topped_up) == ({"P1a": 0.8}, ())


def test_widths_are_kept_by_stage() -> None:
    """What moisture did to the wood is the difference of widths of two stages."""
    record = record_of(
        Entry("width", value=240.2, date=DAY), cut("groove"), Entry("width", value=239.8, date=DAY)
    )
    assert record.settled().widths == {"blank": 240.2, "A": 239.8}


def test_coupon_is_settled() -> None:
    """The coupon narrows the tolerances; its figures must come through under their own names."""
    record = record_of(
        Entry("coupon-diameter", cutter=1, value=5.97, date=DAY),
        Entry("coupon-z", value=-0.03, date=DAY),
        Entry("coupon-groove-width", value=11.02, nominal=11.0, date=DAY),
    )
    settled = record.settled()
    assert settled.coupon_diameter == {1: 5.97}
    assert settled.coupon_z == -0.03
    assert (settled.coupon_groove_width, settled.coupon_groove_nominal) == (11.02, 11.0)


def test_coupon_with_this_jobs_groove_needs_no_nominal() -> None:
    """Without a nominal width the planner would have to leave the coupon's groove out."""
    settled = record_of(Entry("coupon-groove-width", value=10.04, date=DAY)).settled()
    assert (settled.coupon_groove_width, settled.coupon_groove_nominal) == (10.04, 10.0)


# --- what cannot be

REFUSED = {
    "thicker after the skim": (
        (thickness(0, 0, 10.0), cut("groove"), stop(3)),
        after(20, 0, 10.01),
        "thicker than before: entry 1 gives 10",
    ),
    "thicker after than any": (
        (cut("groove"), stop(3)),
        after(20, 0, 10.2),
        "thicker than the blank was",
    ),
    "after before the skim": (
        (cut("groove"),),
        after(0, 0, 9.0),
        "no pass of the skim is recorded",
    ),
    "raw thickness after the skim": (
        (cut("groove"), stop(3)),
        thickness(0, 0, 10.0),
        "the skim has begun (entry 2)",
    ),
    "another thickness there": (
        (thickness(0, 0, 10.0),),
        thickness(0, 0, 10.6),
        "entry 1 gives 10 at the same place",
    ),
    "absurd thickness": ((), thickness(0, 0, 0.4), "units, digits?"),
    "off the blank": ((), thickness(151, 0, 10.0), "off the blank"),
    "groove through the blank": (
        (thickness(100, 0, 9.0),),
        groove(100, 0, 9.0),
        "deeper than the blank is thick, 9",
    ),
    "no groove there": ((), groove(0, 0, 8.8), "no groove at this place: it is 95 away"),
    "groove after the pour": (
        (cut("groove"), fill("groove", 0.5)),
        groove(100, 0, 8.8),
        "filled with resin (entry 2)",
    ),
    "unknown casting": ((cut("groove"),), fill("P9", 1.0), "no casting P9"),
    "fill before the cut": ((), fill("P1a", 1.0), "not recorded as cut"),
    "fill under the floor": (
        (cut("groove"), groove(100, 0, 8.5)),
        fill("groove", 8.5),
        "lower than the floor",
    ),
    "pocket of the groove": (
        (),
        Entry("pocket-depth", casting="groove", value=8.0, date=DAY),
        "the depth of the groove is measured at places",
    ),
    "top-up of nothing": (
        (cut("groove"),),
        Entry("top-up", casting="P1a", value=4.0, unit="g", date=DAY),
        "no first pour of P1a",
    ),
    "fill after the deck": (
        (cut("groove"), stop(3), cut("deck")),
        fill("P1a", 0.5),
        "the deck is cut (entry 3)",
    ),
    "stop before the groove": ((), stop(3), "groove is not yet recorded as cut"),
    "stop beyond the planes": ((cut("groove"),), stop(5), "has no such pass of the skim"),
    "stop grown back": (
        (cut("groove"), stop(3)),
        stop(2),
        "the pass at 8.90 is cut already (entry 2)",
    ),
    "stop after the inserts": (
        (cut("groove"), stop(3), cut("inserts")),
        stop(4),
        "inserts is cut (entry 3)",
    ),
    "inserts before the skim": (
        (cut("groove"),),
        cut("inserts"),
        "no pass of the skim is recorded",
    ),
    "deck before the skim": ((cut("groove"),), cut("deck"), "no pass of the skim is recorded"),
    "trim before the deck": (
        (cut("groove"), stop(3)),
        cut("trim"),
        "deck is not yet recorded as cut",
    ),
    "touch for a later step": (
        (),
        Entry("touch", operation="deck", value=9.0, date=DAY),
        "no pass of the skim is recorded",
    ),
    "touch too high": (
        (),
        Entry("touch", operation="groove", value=40.0, date=DAY),
        "no height of a face",
    ),
    "unknown operation": ((), cut("flush"), "no operation flush"),
    "width of another blank": ((), Entry("width", value=24.0, date=DAY), "units, digits?"),
    "wet wood": ((), Entry("moisture", value=80.0, date=DAY), "no moisture content"),
    "unknown cutter": ((), Entry("coupon-diameter", cutter=9, value=6.0, date=DAY), "no cutter 9"),
    "diameter of another cutter": (
        (),
        Entry("coupon-diameter", cutter=1, value=20.0, date=DAY),
        "should be 6",
    ),
    "bias of a metre": ((), Entry("coupon-z", value=30.0, date=DAY), "no bias"),
    "coupon of another width": (
        (),
        Entry("coupon-groove-width", value=14.0, date=DAY),
        "should be 10",
    ),
    "not a number": ((), thickness(0, 0, math.nan), "finite"),
    "infinite": ((), thickness(math.inf, 0, 10.0), "finite"),
    "zero": ((), thickness(0, 0, 0.0), "greater than 0"),
    "no value": ((), Entry("thickness", at=(0.0, 0.0), date=DAY), "needs value"),
    "no such kind": ((), Entry("colour", value=1.0, date=DAY), "no kind of entry"),
    "no date": ((), Entry("coupon-z", value=0.1, date="17.5.2026"), "is no date"),
    "correcting nothing": ((), thickness(0, 0, 10.0, corrects=1), "there is no entry 1"),
    "correcting another kind": (
        (cut("groove"),),
        thickness(0, 0, 10.0, corrects=1),
        "of another kind: cut groove",
    ),
    "correcting twice": (
        (thickness(0, 0, 10.0), thickness(0, 0, 10.1, corrects=1)),
        thickness(0, 0, 10.2, corrects=1),
        "corrected by entry 2 already",
    ),
    "note with line ends": ((), thickness(0, 0, 10.0, note="a\nb"), "printable"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_is_refused_with_the_reason(case: str) -> None:
    """An impossible figure taken in would be planned with."""
    before, entry, says = REFUSED[case]
    record = record_of(*before)
    faults = refused(record, entry)
    assert any(says in fault.message for fault in faults), [str(fault) for fault in faults]
    assert all(fault.key for fault in faults)


ACCEPTED = {
    "thinner after the skim": ((thickness(0, 0, 10.0), cut("groove"), stop(3)), after(20, 0, 9.99)),
    "thicker elsewhere": (
        (thickness(0, 0, 9.5), thickness(90, 0, 10.4), cut("groove"), stop(3)),
        after(40, 0, 9.9),
    ),
    "thickness nearby": ((thickness(0, 0, 10.0),), thickness(5, 0, 10.6)),
    "groove depth without a cut": ((), groove(100, 0, 8.8)),
    "just beside the groove": ((), groove(107, 0, 8.8)),
    "plugs are cut before the groove": ((cut("groove"),), fill("P1a", 0.4)),
    "a proud fill": ((cut("groove"),), fill("P1a", -0.4)),
    "further passes": ((cut("groove"), stop(2)), stop(3)),
    "a touch in A": ((), Entry("touch", operation="groove", value=10.1, date=DAY)),
    "a void seen late": (
        (cut("groove"), stop(3), cut("deck")),
        Entry("void", casting="P1a", date=DAY),
    ),
}


@pytest.mark.parametrize("case", ACCEPTED)
def test_what_can_be_is_taken(case: str) -> None:
    """The bounds of the refusals: a record that refuses sound figures would be given up."""
    before, entry = ACCEPTED[case]
    assert record_of(*before, entry).entries[-1].kind == entry.kind


def test_correction_that_makes_a_later_entry_impossible_is_refused() -> None:
    """Mending a thickness below what was left after the skim would hide that one of the two is
    wrong."""
    record = record_of(thickness(0, 0, 10.0), cut("groove"), stop(3), after(0, 0, 9.0))
    fault = refused(record, thickness(0, 0, 8.9, corrects=1))[0]
    assert "with this, entry 4" in fault.message
    assert "thicker than before" in fault.message


def test_correction_lets_the_thicker_figure_in() -> None:
    """The way out that the refusal names must work."""
    record = record_of(thickness(0, 0, 9.0), cut("groove"), stop(3))
    assert refused(record, after(0, 0, 9.2))
    mended = record.add(thickness(0, 0, 10.0, corrects=1), FACTS).add(after(0, 0, 9.2), FACTS)
    assert mended.settled().thickness_after == ((0, 0, 9.2),)


def test_withdrawing_what_later_entries_rest_on_is_refused() -> None:
    """A stop without a groove would be left standing."""
    record = record_of(cut("groove"), stop(3))
    assert (
        "with this, entry 2" in refused(record, Entry("withdrawn", corrects=1, date=DAY))[0].message
    )


def test_all_faults_of_a_batch_at_once_and_none_kept() -> None:
    """All or none: half a line of figures in the record would be worse than none."""
    record = Record()
    faults = refused(record, thickness(0, 0, 10.0), thickness(999, 0, 10.0), fill("P9", 1.0))
    assert {fault.key for fault in faults} == {"thickness", "fill"}
    assert record.entries == ()


def test_an_impossible_entry_is_not_blamed_on_the_next() -> None:
    """A wrong pass must be one fault, not another for each figure that rests on the stop."""
    faults = refused(record_of(cut("groove")), stop(9), after(0, 0, 9.0), cut("inserts"))
    assert [fault.key for fault in faults] == ["stop"]


def test_old_contradictions_do_not_hinder_new_entries() -> None:
    """After a change of the job the record still takes figures, and says what does not fit any
    more."""
    record = record_of(cut("groove"), fill("P1b", 0.4))
    fewer = replace(FACTS, castings={name: FACTS.castings[name] for name in ("groove", "P1a")})
    assert record.add(fill("P1a", 0.5), fewer).settled().fill == {"P1b": 0.4, "P1a": 0.5}
    assert ["no casting P1b" in fault.message for fault in record.contradictions(fewer)] == [True]
    assert record.contradictions(FACTS) == ()


# --- the file


def test_file_round_trip(tmp_path: Path) -> None:
    """What is read back must be what was added, to the last digit."""
    path = tmp_path / "job.ascut.toml"
    record = record_of(*STORY)
    save_record(record, path)
    again = load_record(path)
    assert again.entries == record.entries
    assert again.settled() == record.settled()


def test_earlier_text_is_kept_byte_for_byte(tmp_path: Path) -> None:
    """Comments and spelling of a hand, and every earlier entry, must outlive each later command."""
    path = tmp_path / "job.ascut.toml"
    save_record(record_of(thickness(0, 0, 10.0)), path)
    by_hand = (
        path.read_bytes().replace(b"\n", b"\r\n") + "# höher als gedacht\r\n".encode().rstrip()
    )
    path.write_bytes(by_hand)
    save_record(load_record(path).add(thickness(50, 0, 10.1), FACTS), path)
    content = path.read_bytes()
    assert content.startswith(by_hand)
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert len(load_record(path).entries) == 2


def test_inches_are_stored_as_typed(tmp_path: Path) -> None:
    """A figure typed as 0.3937 must stand so in the file, and be 10 mm to the planner."""
    path = tmp_path / "job.ascut.toml"
    facts = replace(FACTS, units="inch")
    record = Record().add(thickness(1.1 * 25.4, -2.3 * 25.4, 0.3937 * 25.4), facts)
    save_record(record.add(Entry("moisture", value=8.5, date=DAY), facts), path)
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    assert document["units"] == "inch"
    assert (document["entry"][0]["at"], document["entry"][0]["value"]) == ([1.1, -2.3], 0.3937)
    assert load_record(path).settled().thickness[0][2] == pytest.approx(9.99998)
    assert load_record(path).settled().moisture == {"blank": 8.5}


def test_units_of_the_file_stay(tmp_path: Path) -> None:
    """A job turned from mm to inch must not turn the figures of its record."""
    path = tmp_path / "job.ascut.toml"
    save_record(record_of(thickness(0, 0, 10.0)), path)
    save_record(
        load_record(path).add(thickness(50.8, 0, 10.16), replace(FACTS, units="inch")), path
    )
    assert load_record(path).settled().thickness == ((0, 0, 10.0), (50.8, 0, 10.16))


def test_missing_file_is_an_empty_record(tmp_path: Path) -> None:
    """The first command finds no record."""
    assert load_record(tmp_path / "none.ascut.toml") == Record()
    assert record_path(tmp_path / "wide.board.toml") == tmp_path / "wide.board.ascut.toml"


def test_what_is_added_while_the_record_is_read_is_not_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file was read twice: an entry written in between counted as read, and its number was
    given again."""
    path = tmp_path / "job.ascut.toml"
    save_record(record_of(thickness(0, 0, 10.0)), path)
    both = tmp_path / "both.ascut.toml"
    both.write_bytes(path.read_bytes())
    save_record(load_record(both).add(thickness(50, 0, 10.0), FACTS), both)
    read = source.read_regular

    def slow(file: Path, most: int) -> bytes:
        held = read(file, most)
        if file == path:
            path.write_bytes(both.read_bytes())  # another run, right after the first reading
        return held

    monkeypatch.setattr(source, "read_regular", slow)
    record = load_record(path).add(thickness(90, 0, 10.0), FACTS)
    with pytest.raises(OutputError, match="another hand"):
        save_record(record, path)
    assert path.read_bytes() == both.read_bytes()


def test_changed_by_another_hand_meanwhile(tmp_path: Path) -> None:
    """Two commands at once must not lose an entry of one of them."""
    path = tmp_path / "job.ascut.toml"
    first = record_of(thickness(0, 0, 10.0))
    save_record(first, path)
    held = path.read_bytes()
    with pytest.raises(OutputError, match="another hand"):
        save_record(record_of(thickness(50, 0, 10.0)), path)
    assert path.read_bytes() == held
    assert [item.name for item in tmp_path.iterdir()] == [path.name]


def test_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk must not cost the record."""
    path = tmp_path / "job.ascut.toml"
    save_record(record_of(thickness(0, 0, 10.0)), path)
    held = path.read_bytes()

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        save_record(load_record(path).add(thickness(50, 0, 10.0), FACTS), path)
    assert path.read_bytes() == held
    assert [item.name for item in tmp_path.iterdir()] == [path.name]


HEAD = 'schema = 1\nunits = "mm"\n'
GOOD = (
    HEAD + '[[entry]]\nn = 1\ndate = 2026-05-17\nstage = "blank"\nkind = "thickness"\nat = [0, '
    "0]\nvalue = 10.0\n"
)

BROKEN = {
    "newer": (GOOD.replace("schema = 1", "schema = 2"), 1, "newer corepath"),
    "no schema": (GOOD.replace("schema = 1\n", ""), None, "missing key"),
    "units": (GOOD.replace('"mm"', '"cm"'), 2, "not one of the choices"),
    "unknown head": (GOOD.replace("units", "unit"), 2, "did you mean units?"),
    "no toml": (GOOD.replace("[[entry]]", "[[entry]"), 3, "is no header of a table"),
    "kind": (GOOD.replace('"thickness"', '"thicknes"'), 7, "no kind of entry"),
    "unknown key": (GOOD.replace("value", "values"), 9, "did you mean value?"),
    "missing value": (GOOD.replace("value = 10.0\n", ""), 3, "missing key"),
    "nan": (GOOD.replace("10.0", "nan"), 9, "finite"),
    "text": (GOOD.replace("10.0", '"10.0"'), 9, "finite"),
    "negative": (GOOD.replace("10.0", "-10.0"), 9, "greater than 0"),
    "place": (GOOD.replace("[0, 0]", "[0]"), 8, "is no place"),
    "date": (GOOD.replace("2026-05-17", '"17 May"'), 5, "is no date"),
    "number": (GOOD.replace("n = 1", "n = 2"), 4, "numbered in the order"),
    "stage": (GOOD.replace('"blank"', '"glued"'), 6, "not one of the choices"),
    "corrects": (GOOD + "corrects = 7\n", 10, "there is no entry 7"),
    "corrects itself": (GOOD + "corrects = 1\n", 10, "there is no entry 1"),
    "not tables": (HEAD + "entry = 3\n", 3, "list of tables"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_broken_file_names_file_and_line(tmp_path: Path, case: str) -> None:
    """A record edited by hand must say where it is wrong, never end in a traceback."""
    text, line, says = BROKEN[case]
    path = tmp_path / "job.ascut.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_record(path)
    fault = next(fault for fault in caught.value.faults if says in fault.message)
    assert fault.file == str(path)
    assert line is None or fault.line == line


def test_good_text_of_the_cases_above_loads(tmp_path: Path) -> None:
    """Otherwise each broken case might be broken by something else."""
    path = tmp_path / "job.ascut.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert load_record(path).settled().thickness == ((0, 0, 10.0),)


def test_folder_or_bytes_in_place_of_a_record(tmp_path: Path) -> None:
    """Whatever lies there, the message speaks of a record."""
    path = tmp_path / "job.ascut.toml"
    path.mkdir()
    with pytest.raises(InputError, match="is a folder, not a record"):
        load_record(path)
    path.rmdir()
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="not UTF-8"):
        load_record(path)


lengths = st.floats(0.001, 1e4).map(lambda value: float(f"{value:.6g}"))
names = st.text(min_size=1, max_size=12, alphabet="Pabc019_-")
notes = st.text(max_size=60).filter(str.isprintable)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(
    kind=st.sampled_from(sorted(KINDS)),
    value=lengths,
    x=lengths,
    name=names,
    note=notes,
    inch=st.booleans(),
)
def test_any_entry_survives_the_file(
    tmp_path_factory: pytest.TempPathFactory,
    kind: str,
    value: float,
    x: float,
    name: str,
    note: str,
    inch: bool,
) -> None:
    """Whatever is in an entry, the file must be TOML that gives the same entry back."""
    spec = KINDS[kind]
    unit = 25.4 if inch else 1.0
    fields: dict[str, object] = {
        "at": (x * unit, -x * unit), "casting": name, "operation": "skim", "cutter": 3, "pass": 4,
        "unit": "mm",
        "value": value * (unit if spec.value in ("length", "amount") else 1.0), "corrects": None,
        "plane": x * unit, "insert": name, "file": "03-A-groove.nc", "line": 7, "setup": "B",
        "by": (x * unit, 0.0, -x * unit),
    }  # fmt: skip
    needs = [key for key in (*spec.needs, *spec.one_of[:1]) if key != "note"]
    used = {("number" if key == "pass" else key): fields[key] for key in needs}
    entry = Entry(kind, note=note or "x", n=1, date=DAY, stage="B", **used)  # type: ignore[arg-type]
    if kind == "withdrawn":
        return
    path = tmp_path_factory.mktemp("r") / "job.ascut.toml"
    save_record(Record((entry,), "inch" if inch else "mm", "Test", None, 1), path)
    again = load_record(path).entries[0]
    lengths = dict.fromkeys(("value", "at", "plane", "by"))
    assert replace(again, **lengths) == replace(entry, **lengths)  # type: ignore[arg-type]
    assert again.by == (None if entry.by is None else pytest.approx(entry.by, rel=1e-9))
    assert again.plane == (None if entry.plane is None else pytest.approx(entry.plane, rel=1e-9))
    if entry.value is not None:
        assert again.value == pytest.approx(entry.value, rel=1e-9)


# --- what comes next


@pytest.mark.parametrize(
    ("count", "message", "command"),
    [
        (0, "callipers", "--thickness -126 -96 T"),
        (1, "Cut set-up A", "--cut dowels --cut plug-pockets --cut groove"),
        (2, "Cut set-up A (plug-pockets, groove)", "--cut plug-pockets --cut groove"),
        (4, "groove's depth", "--groove-depth 100 0 D --groove-depth -100 0 D"),
        (5, "plug pockets", "--pocket-depth P1a D --pocket-depth P1b D"),
        (6, "depth of the plug pockets", "--pocket-depth P1b D"),
        (7, "After the cure", "--fill P1a P --fill P1b P"),
        (9, "After the top-up has cured", "--fill P1a P"),
        (11, "thickness after the skim", "--after-skim --thickness"),
        (12, "After the top-up has cured", "--fill P1a P"),
        (13, "Turn the blank deck up", "--cut deck"),
        (15, "After lay-up", "--cut trim --cut bolt-holes"),
    ],
)
def test_next_says_what_the_work_waits_for(count: int, message: str, command: str) -> None:
    """At each step the first line must be the step due, with the command that records it."""
    lines = next_measurements(FACTS, record_of(*STORY[:count]).settled())
    assert message in lines[0]
    assert f"corepath record job.toml {command}" in lines[0]
    assert len(set(lines)) == len(lines)


def test_next_is_about_the_skim_while_it_runs() -> None:
    """With the fills known the work waits for the stop, and the planned pass is named."""
    filled = [fill(name, 0.5) for name in FACTS.castings]
    lines = next_measurements(FACTS, record_of(cut("groove"), *filled).settled())
    assert "planned: 8.90" in lines[0]
    assert "--stop-at HEIGHT" in lines[0]
    passes = record_of(cut("groove"), *filled, Entry("cut", operation="skim", number=1, date=DAY))
    assert "--stop-at HEIGHT" in next_measurements(FACTS, passes.settled())[0]


def test_next_asks_for_the_depth_of_blind_bores_alone() -> None:
    """The deck pass must open a blind bore, which nobody was asked to measure; a through bore has
    no depth. A seat that was measured shows that the inserts are cut."""
    facts = replace(FACTS, inserts={"I1": True, "I2": False})
    seat = Entry("seat-depth", insert="I2", value=1.5, date=DAY)
    record = Record().add_all([cut("groove"), stop(3), seat], facts)
    assert record.stage == "inserts"
    lines = next_measurements(facts, record.settled())
    assert any(line.endswith("--bore-depth I2 D") for line in lines)
    assert any(line.endswith("--seat-depth I1 D") for line in lines)
    # with the deck up seats and bores lie on the bed, and a short bore stays closed
    assert "cut the deck" in lines[-1]
    assert not any("cut the deck" in line for line in lines[:-1])
    bore = Entry("bore-depth", insert="I2", value=6.0, date=DAY)
    lines = next_measurements(facts, record.add(bore, facts).settled())
    assert not any("--bore-depth" in line for line in lines)


def test_which_pass_a_figure_looks_like() -> None:
    """Stop at 8.90, figures from 0.4 below to 0.1 above the plane of their stop: 8.50 to 9.00.

    9.20 is nearer to 9.40 than to 8.90, 9.10 is not; 8.40 is a pass; 9.15 lies halfway, and of two
    equally near passes the lower was cut last.
    """
    within, planes = Within(-0.4, 0.1), (9.9, 9.4, 8.9, 8.4)
    assert off_stop(8.55, within, 8.9, planes) is None
    found = [off_stop(value, within, 8.9, planes) for value in (9.2, 9.1, 8.4, 9.15)]
    assert [off and off.likely for off in found] == [9.4, None, 8.4, None]
    assert [off and off.by for off in found] == pytest.approx([0.2, 0.1, 0.1, 0.15])
    assert found[0] is not None and (found[0].low, found[0].high) == pytest.approx((8.5, 9.0))


def test_next_asks_for_the_width_again() -> None:
    """A width measured once is of use only with a second one in a later stage."""
    record = record_of(Entry("width", value=240.0, date=DAY), cut("groove"))
    assert any("--width W" in line for line in next_measurements(FACTS, record.settled()))
    assert not any(
        "--width W" in line for line in next_measurements(FACTS, record_of(cut("groove")).settled())
    )
