"""A deck that is finished only so far beyond the outline as skin and bag reach: planned, read back,
and found right, with the waste outside only roughed."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import LineString, box

from corepath.board.deck.surface import DeckSurface
from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.model import Job, LayupSection
from corepath.motion.program import Kind
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.proving.proof import Proof, prove
from corepath.planning.proving.reading import read_files
from corepath.planning.report.geometry import geometry_dict
from corepath.work.cutting.waste import finished_within
from corepath.work.least_time.minutes import least_time
from corepath.work.least_time.waste_minutes import waste_minutes

SAMPLES = Path(__file__).parents[2] / "samples"
BY = 12.0


def job(**deck: object) -> Job:
    """The coupon in a blank with 70 of waste at its ends: a small job is quickly planned."""
    coupon = load_job(SAMPLES / "coupon.toml")
    return coupon.model_copy(
        update={
            "blank": coupon.blank.model_copy(update={"length": 340.0}),
            "deck": coupon.deck.model_copy(update=deck),
        }
    )


def prepared(**deck: object) -> Prepared:
    return prepare_job(job(**deck), SAMPLES)


@pytest.fixture(scope="module")
def proved() -> Proof:
    return prove(prepared(beyond=BY))


def test_what_skin_and_bag_need_is_finished_and_the_rest_is_not(proved: Proof) -> None:
    """No finding: the read-back proves ridges over what is asked. Where only waste lies no
    finishing line comes but for the way in and out."""
    assert proved.readback is not None
    assert [str(one) for one in proved.readback.findings] == []
    deck = next(one for one in proved.made if one.name == "08-C-deck.nc")
    area = finished_within(proved.prepared.board, BY)
    assert area is not None and deck.work.deck is not None and deck.work.deck.asked == area
    ways = [
        LineString([(a.x, a.y), (b.x, b.y)])
        for a, b in zip(deck.program.moves, deck.program.moves[1:], strict=False)
        if b.kind != Kind.RAPID and (a.x, a.y) != (b.x, b.y)
    ]
    swept = shapely.union_all([way.buffer(deck.work.cutter.radius) for way in ways[::5]])
    # the blank's ends lie 70 beyond the board's; the way in and out is one cutter wide
    ends = box(-170.0, -45.0, -150.0, 45.0).union(box(150.0, -45.0, 170.0, 45.0))
    assert swept.intersection(ends).area < 2.0 * 20.0 * 2.0 * deck.work.cutter.radius
    measures = {one.id: one.value for one in proved.readback.measures if "waste" in one.id}
    assert measures["waste low"] > -0.01


def test_waste_stands_as_roughing_leaves_it_and_the_head_says_so(proved: Proof) -> None:
    """Finishing takes more than roughing leaves in one go, but nothing finishes the waste."""
    works = {work.stem: work for work in proved.prepared.works}
    rough = works["07-C-deck-rough"].deck
    assert rough is not None and rough.one_go > rough.rough + 0.5 and proved.readback is not None
    (measured,) = [one for one in proved.readback.measures if one.id == "waste high"]
    assert measured.value == pytest.approx(rough.rough, abs=0.06)
    text = next(one.text for one in proved.made if one.name == "08-C-deck.nc")
    assert "finishes 12 beyond the outline" in text


def test_the_read_back_finds_waste_that_is_cut_or_not_roughed(proved: Proof) -> None:
    """Told that all is to be finished, it finds ground left; told of an edge 0.1 higher over the
    waste, waste cut too deep; without roughing, waste left."""
    texts = {one.name: one.text for one in proved.made}

    def kinds(**changes: object) -> set[str]:
        works = tuple(
            replace(work, deck=replace(work.deck, **changes)) if work.deck is not None else work
            for work in proved.prepared.works
        )
        found = read_files(replace(proved.prepared, works=works), texts).findings
        return {one.kind for one in found if one.file.startswith(("07", "08"))}

    assert kinds() == set()
    assert kinds(finished=None) & {"deck-height", "not-reached"}
    board = proved.prepared.board
    assert "deck-height" in kinds(
        finished=board.outline.buffer(-10.0), surface=_raised(board.deck, 0.1)
    )


def _raised(surface: DeckSurface, by: float) -> DeckSurface:
    """The same deck, higher by `by` mm where it is level with its edge."""
    grid = np.asarray(surface.grid) + np.where(surface.grid < surface.edge + 1e-4, by, 0.0)
    return DeckSurface(surface.xs, surface.ys, grid, surface.edge + by)


def test_the_bound_and_what_it_saves_are_those_of_the_area() -> None:
    """By hand: waste is level, lines lie a stepover apart at the finishing feed."""
    one, whole = prepared(beyond=BY), prepared()
    area = finished_within(one.board, BY)
    assert area is not None
    waste = one.board.blank.area - area.area
    works = [next(w for w in found.works if w.name == "deck") for found in (one, whole)]
    least = [least_time(work, work.milling.limits).sweep for work in works]
    by_hand = 60.0 * waste / works[0].cutting.stepover / works[0].cutting.finish
    assert least[1] - least[0] == pytest.approx(by_hand, rel=0.05)  # nodes on edges count whole
    saved = waste_minutes(one.job, one.board, one.works)
    assert saved is not None and saved.given and saved.saves == pytest.approx(by_hand / 60.0)
    proposed = waste_minutes(whole.job, whole.board, whole.works)
    assert proposed is not None and not proposed.given


def test_skins_must_end_where_the_deck_is_finished() -> None:
    """The groove's outer edge lies 5 outside the outline, and skins reach so far."""
    found = prepared(beyond=BY)
    (check,) = [one for one in found.checks if one.id == "beyond"]
    assert (check.value, check.verdict) == (pytest.approx(BY - 5.0), "ok")
    layup = LayupSection(skin_outside=13.0)
    wide = prepare_job(job(beyond=BY).model_copy(update={"layup": layup}), SAMPLES)
    (check,) = [one for one in wide.checks if one.id == "beyond"]
    assert (check.value, check.verdict) == (pytest.approx(-1.0), "fail")
    assert not [one for one in prepared().checks if one.id == "beyond"]


def test_geometry_says_what_is_finished() -> None:
    found = geometry_dict(prepared(beyond=BY))["finished"]
    ring = np.array(found["outer"])
    assert found["holes"] == [] and ring[:, 0].max() == pytest.approx(88.0 + BY, abs=0.005)
    assert geometry_dict(prepared())["finished"] is None


FAULTS: dict[str, tuple[dict[str, object], dict[str, dict[str, object]], str, str]] = {
    "within the groove": ({"beyond": 1.0}, {}, "deck.beyond", "groove.outside"),
    "a frame": ({"beyond": 20.0, "margin": 5.0}, {}, "deck.beyond", "deck.margin"),
    "a skin over the whole blank": (
        {"beyond": 20.0}, {"skin": {"thickness": 0.5, "modulus": 20.0, "strain_limit": 0.004,
        "pressure": 0.5}}, "deck.beyond", 'skin.covers = "board"',
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_width_that_cannot_be_is_told_with_what_is_allowed(name: str, tmp_path: Path) -> None:
    deck, more, key, allowed = FAULTS[name]
    text = (SAMPLES / "coupon.toml").read_text("utf-8")

    def lines(keys: dict[str, object]) -> str:
        return "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())

    text = text.replace("[deck]\n", "[deck]\n" + lines(deck))
    text += "".join(f"\n[{table}]\n{lines(keys)}" for table, keys in more.items())
    file = tmp_path / "job.toml"
    file.write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        load_job(file)
    found = [fault for fault in caught.value.faults if fault.key == key]
    assert any(allowed in str(fault.allowed) for fault in found)
