"""What goes wrong at the machine, recorded: it must change what lies ahead and nothing that is
done, or say plainly that the core is lost."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.load import load_job
from corepath.job.record.ascut import load_record, record_path
from corepath.job.record.settled import Settled
from corepath.job.text.starter import starter_text
from corepath.lengths import MM
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.report.shift_lines import shift_lines
from corepath.planning.report.trouble_lines import off_place_lines
from corepath.stackup.checks.registration import registered

TO_SKIM = frozenset({"dowels", "plug-pockets", "groove"})


def _job(folder: Path, text: str = starter_text("Core")) -> Path:
    path = folder / "core.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _record(path: Path, *words: object) -> Result:
    return CliRunner().invoke(app, ["record", str(path), *map(str, words)])


def _known(path: Path, **settled: object) -> Prepared:
    found = replace(Settled(), **settled)  # type: ignore[arg-type]
    return prepare_job(load_job(path), path.parent, replace(Known(), settled=found))


def test_a_broken_cutter_is_planned_again(tmp_path: Path) -> None:
    """The starter cuts groove and pockets with T2 (6), the skim with T3 (20). Without T2 the
    pockets that are cut keep it, the groove goes to T1 (4), the only other that fits its 11."""
    path = _job(tmp_path)
    used = {work.name: work.cutter.number for work in _known(path).works}
    assert (used["plug-pockets"], used["groove"], used["skim"]) == (2, 2, 3)
    found = _known(path, cut=frozenset({"dowels", "plug-pockets"}), broken=(2,))
    used = {work.name: work.cutter.number for work in found.works}
    assert (used["plug-pockets"], used["groove"], used["skim"]) == (2, 1, 3)
    assert [work.order for work in found.works] == sorted(work.order for work in found.works)
    # a cutter that only what is done needed may be gone
    assert _record(path, "--cut", "dowels", "--broken", 2).exit_code == 0
    assert load_record(record_path(path)).settled().broken == (2,)
    assert _record(path, "--withdraw", 1).exit_code == 0
    assert load_record(record_path(path)).settled().broken == ()


def test_a_core_without_a_cutter_is_planned_on(tmp_path: Path) -> None:
    """T4 is a ball: without the flat ones no groove is cut, and that is said at once."""
    path = _job(tmp_path)
    found = _record(path, "--broken", 1, "--broken", 2, "--broken", 3)
    assert found.exit_code == 0
    said = " ".join(found.stdout.split())
    assert "Without T1, T2, T3 nothing can be planned on:" in said
    assert "no listed cutter fits the groove" in said
    assert CliRunner().invoke(app, ["plan", str(path)]).exit_code == 2
    assert not (tmp_path / "core-plan").exists()
    assert _record(path, "--broken", 9).exit_code == 2


def test_a_stopped_file_is_forgotten_or_never_ends(tmp_path: Path) -> None:
    """Told as the next step until its operation is cut; only a file of this job's plan can stop."""
    path = _job(tmp_path)
    found = _record(path, "--stopped", "there/03-A-groove.nc", 412, "--cut", "dowels")
    assert found.exit_code == 0
    assert "corepath restart 03-A-groove.nc --from-line 412" in found.stdout
    assert "corepath plan" not in found.stdout
    settled = load_record(record_path(path)).settled()
    assert Settled.from_dict(settled.as_dict()) == settled
    assert dict(settled.broken_off) == {"03-A-groove.nc": 412}
    assert _record(path, "--cut", "plug-pockets", "--cut", "groove").exit_code == 0
    assert load_record(record_path(path)).settled().broken_off == {}
    before = record_path(path).read_bytes()
    for file, line in (("03-A-groove.nc", 9), ("my.nc", 9), ("12-E-x.nc", 9), ("04-A-x.nc", 0)):
        assert _record(path, "--stopped", file, line).exit_code == 2
    assert record_path(path).read_bytes() == before


def test_a_shift_moves_what_is_not_cut_yet(tmp_path: Path) -> None:
    """By hand: 0.3 and 0.4 are 0.5. Seats lie off by that once they are bored, the edge may have
    lost as much of its casting by a shift in A, has lost it by one in D, and by one in C nothing.
    In B the blank lies turned about X, so -0.4 along Y of the machine is +0.4 on the board."""
    path = _job(tmp_path)
    b = {"B": (0.3, -0.4, 0.0)}
    parts = {
        name: {one.kind: one for one in registered(one.stackup, one.board)}
        for name, one in (
            ("before", _known(path, cut=TO_SKIM, shifts=b)),
            ("bored", _known(path, cut=TO_SKIM | {"skim", "inserts"}, stop=2, shifts=b)),
            ("in A", _known(path, cut=TO_SKIM, shifts={"A": (0.3, 0.4, 0.0)})),
        )
    }
    lies = _known(path, cut=TO_SKIM | {"skim", "inserts"}, stop=2, shifts=b).board.places[0]
    assert (lies.x, lies.y) == pytest.approx((34.3, -4.6))
    assert lies.seat.area.centroid.coords[0] == pytest.approx((34.3, -4.6))
    assert parts["before"]["seat"].left.nominal == 0.0
    assert parts["bored"]["seat"].left.nominal == pytest.approx(0.5)
    lost = parts["before"]["edge"].worst - parts["in A"]["edge"].worst
    assert lost == pytest.approx(0.5) and parts["in A"]["edge"].left.nominal == 6.0


@pytest.mark.parametrize(
    ("cut", "shifts", "message"),
    [
        ((), {"B": (0.5, 0.0, 0.0)}, "nothing that a shift sideways moves is cut there yet"),
        (("skim", "inserts"), {"B": (0.5, 0.0, 0.0)}, "0.50 off its place: the inserts"),
        (("skim", "inserts"), {"B": (0.0, 0.0, 0.2)}, "Measure the thickness after the skim"),
        (("skim", "inserts", "deck"), {"C": (3.0, 0.0, 0.0)}, "the edge keeps its thickness"),
        (("skim", "inserts", "deck"), {"C": (8.0, 0.0, 0.0)}, "cannot be saved because its edge"),
        (("skim", "inserts", "deck"), {"C": (0.0, 0.0, 0.4)}, "its file is planned once more"),
        (("skim", "inserts", "deck"), {"C": (0.0, 0.0, -0.1)}, "seats and bores is left"),
        (("skim", "inserts", "deck"), {"C": (0.0, 0.0, -6.0)}, "cannot be saved because wood-over"),
        ((), {"A": (0.0, 0.0, -0.2)}, "Measure the depth of groove and pockets"),
    ],
)
def test_a_shift_says_nothing_of_use(
    tmp_path: Path, cut: tuple[str, ...], shifts: dict[str, tuple[float, ...]], message: str
) -> None:
    """The starter's edge band is 7 wide, so a deck 3 off keeps its edge and one 8 off does not."""
    stop = 2 if "skim" in cut else None
    found = _known(_job(tmp_path), cut=TO_SKIM | set(cut), stop=stop, shifts=shifts)
    assert any(message in MM.text(line) for line in shift_lines(found)), shift_lines(found)


def test_a_shift_in_inches_is_kept_in_mm(tmp_path: Path) -> None:
    """0.02 in is 0.508 mm; a shift of nothing, of no set-up or of a hand's breadth is refused."""
    from tests.job.test_job_resolved import inch_text

    path = _job(tmp_path, inch_text(starter_text("Core")))
    assert _record(path, "--shift", "B", "0.02", "-0.01", "0").exit_code == 0
    assert "by = [0.02, -0.01, 0.0]" in record_path(path).read_text()
    held = load_record(record_path(path)).settled()
    assert held.shifts["B"] == pytest.approx((0.508, -0.254, 0.0))
    assert Settled.from_dict(held.as_dict()).shifts == held.shifts
    before = record_path(path).read_bytes()
    for words in (("E", 1, 0, 0), ("B", 0, 0, 0), ("B", 5, 0, 0), ("B", "x", 0, 0), ("B", 1, 0)):
        assert _record(path, "--shift", *words).exit_code == 2
    assert record_path(path).read_bytes() == before


def test_a_shift_in_height_changes_no_height(tmp_path: Path) -> None:
    """What was cut 0.2 too high or too low lies there from then on, in every check: floors in A,
    the skimmed plane in B, the deck in C where it is too low. What is cut after it was found lies
    right, and a deck that stands too high is planned once more."""
    path = _job(tmp_path)
    cut = TO_SKIM | {"skim", "inserts", "deck"}
    done = {"cut": cut, "stop": 2}

    def checks(**settled: object) -> dict[str, float]:
        return {check.id: check.value for check in _known(path, **settled).checks}

    plain = checks(cut=TO_SKIM)
    high = checks(cut=TO_SKIM, shifts={"A": (0.0, 0.0, 0.2)})
    # a floor 0.2 higher leaves 0.2 more wood and shows 0.2 later
    assert high["floor"] - plain["floor"] == pytest.approx(0.2)
    assert plain["window"] - high["window"] == pytest.approx(0.2)
    again = checks(cut=TO_SKIM, shifts={"A": (0.0, 0.0, 0.2)}, cut_since=frozenset(TO_SKIM))
    assert again == plain and checks(shifts={"A": (0.0, 0.0, 0.2)}) == checks()
    before = checks(**done)
    skim = checks(**done, shifts={"B": (0.0, 0.0, -0.2)})
    assert before["clean-up"] - skim["clean-up"] == pytest.approx(0.2)
    assert skim["wood-over-seat"] == before["wood-over-seat"]
    low = checks(**done, shifts={"C": (0.0, 0.0, -0.2)})
    assert before["wood-over-seat"] - low["wood-over-seat"] == pytest.approx(0.2)
    tall = _known(path, **done, shifts={"C": (0.0, 0.0, 0.2)})
    assert {work.name for work in tall.ahead} == {"deck"} and not _known(path, **done).ahead


def test_what_was_cut_after_a_shift_counts_as_shifted(tmp_path: Path) -> None:
    """In one command what is recorded as cut was cut before; what a later one adds was not."""
    path = _job(tmp_path)
    words = ("--shift", "A", 0, 0, 0.2, "--cut", "dowels", "--cut", "plug-pockets")
    assert _record(path, *words).exit_code == 0
    assert _record(path, "--cut", "groove").exit_code == 0
    settled = load_record(record_path(path)).settled()
    assert settled.shift_of("plug-pockets") == (0.0, 0.0, 0.2)
    assert settled.shift_of("groove") == settled.shift_of("skim") == (0.0, 0.0, 0.0)
    assert Settled.from_dict(settled.as_dict()) == settled


def test_a_thickness_that_a_shift_explains_is_refused(tmp_path: Path) -> None:
    """8.65 after a stop at 8.4 is another pass; not where the zero in B was found 0.25 too high."""
    path = _job(tmp_path)
    cut = [word for name in ("dowels", "plug-pockets", "groove") for word in ("--cut", name)]
    assert _record(path, *cut, "--stop-at", 8.4, "-q").exit_code == 0
    thick = ("--thickness", 40, 30, 8.65, "--after-skim")
    assert _record(path, *thick).exit_code == 2
    assert _record(path, "--shift", "B", 0, 0, 0.25).exit_code == 0
    assert _record(path, *thick).exit_code == 0


def test_an_insert_off_its_place_is_taken_at_its_place(tmp_path: Path) -> None:
    """Measured 0.8 and -0.6 off: 1.0, on drawings and in all checks, a shift of the set-up besides
    or not; where the wood runs out beside it, why and the nearest way out."""
    path = _job(tmp_path)
    cut = TO_SKIM | {"skim", "inserts"}
    off = {"I1": (0.8, -0.6)}
    found = _known(path, cut=cut, stop=2, off_place=off, shifts={"B": (0.3, 0.4, 0.0)})
    place = found.board.places[0]
    assert (place.x, place.y) == pytest.approx((34.8, -5.6))
    seat = next(one for one in registered(found.stackup, found.board) if one.kind == "seat")
    assert seat.left.nominal == pytest.approx(1.0)
    assert [MM.text(line) for line in off_place_lines(found)] == ["I1 lies 1.00 off its place"]
    lost = _known(path, cut=cut, stop=2, off_place={"I1": (0.0, -14.0)})
    said = " ".join(MM.text(line) for line in off_place_lines(lost))
    assert "This core cannot be saved because of that; the nearest way out is" in said
    before = set(tmp_path.iterdir())
    for words in (("I1", 1, 1), ("I9", 1, 1), ("I1", 1), ("I1", "x", 1)):
        assert _record(path, "--off-place", *words).exit_code == 2
    assert set(tmp_path.iterdir()) == before
