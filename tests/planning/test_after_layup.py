"""Set-up D, from the job to files that are read back: each thing that may go wrong there is
tried."""

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from corepath.board.footprints import offset
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.job.load import load_job
from corepath.job.model import Job, LayupSection, OutlineSection, TrimSection
from corepath.layup.laid import laid_up
from corepath.motion.fit import flatten
from corepath.motion.program import Kind, Program
from corepath.operations import programs
from corepath.operations.trim import lap_ring, reachable
from corepath.planning.make import make_files
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.proving.reading import shop_of
from corepath.planning.report.after_layup import NO_PROGRAMS
from corepath.readback.measure import read_back
from corepath.readback.motion.first_way import Zeroed, check_first_way
from corepath.readback.plan_files import PlanFiles
from corepath.readback.result import ReadBack
from corepath.readback.surfaces.laid_blank import laid_stock
from corepath.readback.words.zeros import lowered
from corepath.work import Work

SAMPLES = Path(__file__).parents[2] / "samples"
ROCKER = ((-120.0, 3.4), (-60.0, 0.8), (0.0, 0.0), (60.0, 1.1), (120.0, 4.2))


def with_layup(
    trim: TrimSection | None = None, machine: dict[str, Any] | None = None, **keys: Any
) -> Job:
    """The coupon with a rocker that is not the same at both ends, a hole over its insert, and a
    cradle."""
    job = load_job(SAMPLES / "coupon.toml")
    given = {"rocker": ROCKER, "cradle": True, "skin_below": 0.6, "skin_above": 0.8, **keys}
    insert = job.insert[0].model_copy(update={"bolt_hole": 5.0})
    return job.model_copy(
        update={
            "layup": LayupSection(**given),
            "trim": trim,
            "insert": (insert,),
            "machine": job.machine.model_copy(update=machine or {}),
        }
    )


def prepared_of(job: Job) -> Prepared:
    return prepare_job(job, SAMPLES)


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepared_of(with_layup())


def laid_works(prepared: Prepared) -> tuple[Work, ...]:
    return tuple(work for work in prepared.works if work.setup == "D")


def texts(prepared: Prepared) -> dict[str, str]:
    only = replace(prepared, works=laid_works(prepared))
    return {made.name: made.text for made in make_files(only)}


@pytest.fixture(scope="module")
def files(prepared: Prepared) -> dict[str, str]:
    return texts(prepared)


def read(prepared: Prepared, files: dict[str, str]) -> ReadBack:
    return read_back(shop_of(prepared), laid_works(prepared), PlanFiles(files))


def moved(text: str, axis: str, by: float) -> str:
    """The text with all words of an axis shifted."""
    return re.sub(rf"\b{axis}(-?\d+\.\d+)", lambda word: f"{axis}{float(word[1]) + by:.4f}", text)


def points(program: Program) -> np.ndarray:
    """(n, 3) places along all cuts of a program."""
    found, here = [], None
    for move in program.moves:
        if move.kind != Kind.RAPID and here is not None:
            found.append(flatten(here, move, 0.001))
        here = (move.x, move.y, move.z)
    return np.vstack(found)


def test_no_lay_up_no_programs():
    """A board of which nothing is known after lay-up must not be cut then."""
    assert laid_works(prepared_of(load_job(SAMPLES / "coupon.toml"))) == ()


def test_a_rocker_without_a_cradle_is_refused_its_flat_programs():
    made = prepared_of(with_layup(TrimSection(), cradle=False))
    assert laid_works(made) == ()
    assert NO_PROGRAMS in made.cautions


def test_a_cradle_gives_both_files(files: dict[str, str], prepared: Prepared):
    assert list(files) == ["09-D-trim.nc", "10-D-bolt-holes.nc"]
    assert NO_PROGRAMS not in prepared.cautions


CLEAN = {
    "as it is": {},
    "allowance, no finishing lap": {"trim": TrimSection(allowance=0.8, finish=0.0)},
    "flat in a flat cradle": {"rocker": None},
    "hollow below": {"rocker": tuple((x, -z) for x, z in ROCKER)},
    "front-left, lines only": {"machine": {"xy_zero": "front-left", "arcs": False}},
    "zero on the face": {"machine": {"z_zero": "face", "touch_at": (106.0, 30.0)}},
}


@pytest.mark.parametrize("variant", CLEAN)
def test_every_capability_reads_back_clean(variant: str):
    made = prepared_of(with_layup(**CLEAN[variant]))
    found = read(made, texts(made))
    assert [str(finding) for finding in found.findings] == []
    assert found.of("web, least").value == pytest.approx(0.5, abs=0.01)
    assert abs(found.of("I1 off its bore").value) < 0.001


LONG = ((-100.0, 0.0), (-70.0, -28.0), (70.0, -30.0), (88.0, 0.0), (70.0, 30.0), (-70.0, 28.0))
"""Straight sides of up to 140: each is one move of a file, and climbs along itself."""

STEEP = {
    "straight sides up a slope": ((-120.0, -12.0), (120.0, 12.0)),
    "straight sides over a rocker": ((-120.0, 18.0), (0.0, 0.0), (120.0, 27.0)),
}


def straight_sided(rocker: tuple[tuple[float, float], ...]) -> Prepared:
    job = with_layup(TrimSection(allowance=0.5), {"arcs": False}, rocker=rocker)
    return prepared_of(job.model_copy(update={"outline": OutlineSection(points=LONG)}))


@pytest.mark.parametrize("name", STEEP)
def test_a_wall_that_climbs_is_judged_where_it_runs(name: str):
    """A true trim must pass whatever it climbs along one move; one that is 0.3 off must not."""
    made = straight_sided(STEEP[name])
    good = texts(made)
    found = read(made, good)
    assert [str(finding) for finding in found.findings] == []
    # the finishing lap begins half a step beside the roughing one, and must climb on the way
    assert found.of("web, least").value == pytest.approx(0.5, abs=0.005)
    work, *others = laid_works(made)
    for by, side in ((0.3, "left on the board"), (-0.3, "cut into the board")):
        off = replace(
            work, trim=replace(work.trim, area=offset(work.trim.area, by)), lowest=work.lowest - 0.1
        )
        found = read(made, texts(replace(made, works=(off, *others))))
        (wall,) = [one for one in found.findings if one.kind == "width" and side in one.message]
        assert wall.depth == pytest.approx(0.3, abs=0.01)


@pytest.mark.whole
@pytest.mark.parametrize(
    ("sample", "rocker"),
    [
        ("swallow-620", ((-350.0, 20.0), (-175.0, 5.0), (0.0, 0.0), (175.0, 8.0), (350.0, 32.0))),
        ("cradle-460", ((-240.0, 40.0), (-120.0, 10.0), (0.0, 0.0), (120.0, 15.0), (240.0, 60.0))),
        ("cradle-460", ((-240.0, -24.0), (240.0, 24.0))),
    ],
)
def test_boards_with_much_rocker_are_trimmed(sample: str, rocker: tuple[tuple[float, float], ...]):
    """Ends that rise by 20 to 60, lines instead of arcs: read-back used to refuse walls that are
    right within 0.003."""
    job = load_job(SAMPLES / f"{sample}.toml")
    layup = job.layup or LayupSection(cradle=True, skin_below=0.6, skin_above=0.8)
    changes = {
        "layup": layup.model_copy(update={"rocker": rocker}),
        "machine": job.machine.model_copy(update={"arcs": False}),
    }
    made = prepared_of(job.model_copy(update=changes))
    found = read_back(replace(shop_of(made), cell=2.0), laid_works(made), PlanFiles(texts(made)))
    assert [str(finding) for finding in found.findings] == []
    assert abs(found.of("trim, cut into the board").value) < 0.005
    # the zero of C lies lower by the cradle: clear of it, or as high as the axis goes
    findings = Findings("09-D-trim.nc")
    old = lowered(Zeroed("the bed", (0.0, 0.0, 0.0), 540), laid_up(made.job, made.board))
    check_first_way(
        read_program(texts(made)["09-D-trim.nc"], "09-D-trim.nc"),
        Zeroed("the cradle", (0.0, 0.0, 0.0), 540),
        old,
        next(work.stock_top for work in laid_works(made)),
        findings,
        made.job.machine.travel[2],
    )
    assert findings.counts == {}


def test_no_wood_stands_beyond_the_nearer_end():
    """Over a curve that rises at one end alone that end lies nearer to the middle, and the virtual
    blank, as long on both sides, stands no higher there than the end itself: by the curve that went
    on it would be 0.2 mm and more."""
    rocker = ((-120.0, 0.5), (-60.0, 0.2), (0.0, 0.0), (60.0, 6.0), (120.0, 28.0))
    made = prepared_of(with_layup(rocker=rocker))
    laid = laid_up(made.job, made.board)
    near, far = sorted(abs(end) for end in laid.ends)
    assert far - near > 2.0
    top = float(laid.top(laid.ends[1], np.linspace(-laid.width, laid.width, 201) / 2.0).max())
    stock = laid_stock(laid, 1.0)
    assert top - 0.5 < stock.highest() <= top + 1e-3
    assert stock.highest() <= laid_works(made)[0].stock_top


def test_conventional_goes_the_other_way_round(prepared: Prepared):
    """Clockwise round the outside keeps the board on the right: climb, with a spindle that turns
    clockwise."""
    work = laid_works(prepared)[0]
    other = replace(work, milling=replace(work.milling, conventional=True))
    ways = [
        shapely.LinearRing(lap_ring(one.trim.area, 3.0, one.milling.conventional)).is_ccw
        for one in (work, other)
    ]
    assert ways == [False, True]
    turned = [points(programs(one)[0]) for one in (work, other)]
    areas = [float(np.sum(p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1])) for p in turned]
    assert areas[0] < 0 < areas[1]


def test_the_board_is_never_touched_and_all_round_it_is_cut(prepared: Prepared):
    """By polygons: what the cutter sweeps keeps out of the board and leaves nothing standing on its
    wall."""
    work = laid_works(prepared)[0]
    cut = points(programs(work)[0])
    swept = shapely.LineString(cut[:, :2]).buffer(work.cutter.radius, quad_segs=64)
    assert swept.intersection(work.trim.area).area < 0.5
    inner = shapely.Polygon(max(swept.interiors, key=lambda ring: shapely.Polygon(ring).area))
    assert (
        shapely.hausdorff_distance(
            inner.exterior, reachable(work.trim.area, work.cutter.radius).exterior
        )
        < 0.02
    )


def test_layers_are_no_deeper_than_the_cutter_may(prepared: Prepared):
    """Above the web, each lap lies at most a layer under the one before."""
    work = laid_works(prepared)[0]
    cut = points(programs(work)[0])
    over = cut[:, 2] - work.trim.laid.tip(cut[:, 0], work.cutter.radius, work.trim.web)
    assert over.min() > -0.004
    level = np.unique(np.round(over, 2))
    laps = [height for height in level if np.count_nonzero(np.abs(over - height) < 0.006) > 100]
    assert max(np.diff([*laps, work.trim.depth])) <= work.cutting.depth + 0.02


WRONG = {
    "trim too deep by 1": ("09-D-trim.nc", "Z", -1.0, {"floor", "below-lowest"}),
    "trim too high by 1": ("09-D-trim.nc", "Z", 1.0, {"floor"}),
    "trim 0.5 along X": ("09-D-trim.nc", "X", 0.5, {"width"}),
    "holes 0.3 along X": ("10-D-bolt-holes.nc", "X", 0.3, {"seat"}),
    "holes too high by 3": ("10-D-bolt-holes.nc", "Z", 3.0, {"bore-closed", "seat"}),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_what_is_wrong_in_a_file_is_found(prepared: Prepared, files: dict[str, str], wrong: str):
    name, axis, by, kinds = WRONG[wrong]
    found = read(prepared, {**files, name: moved(files[name], axis, by)})
    assert kinds <= set(found.findings.kinds)


def test_a_trim_at_a_wrong_feed_is_found(prepared: Prepared, files: dict[str, str]):
    """The slot at the feed of the light last lap, or ramps at the feed sideways: the cutter breaks,
    the skin tears."""
    trim = next(work for work in prepared.works if work.name == "trim")
    name, feeds = (
        "09-D-trim.nc",
        [f"F{feed:.1f}\n" for feed in (trim.cutting.ramp, trim.cutting.feed, trim.trim.feed)],
    )
    ramp, slot, light = feeds
    assert all(files[name].count(feed) for feed in feeds)
    assert {"load"} == set(
        read(prepared, {**files, name: files[name].replace(slot, light)}).findings.kinds
    )
    assert {"feed-too-high"} <= set(
        read(prepared, {**files, name: files[name].replace(ramp, slot)}).findings.kinds
    )


def test_a_flat_program_on_a_curved_board_is_found(prepared: Prepared):
    """The very thing that is refused: a program of the same board without its rocker, cut in the
    cradle."""
    flat = texts(prepared_of(with_layup(rocker=None)))
    kinds = set(read(prepared, flat).findings.kinds)
    assert {"floor", "width", "seat"} <= kinds


def test_the_wrong_end_forward_is_found(prepared: Prepared):
    """The rocker of a board turned round in its cradle is not the same."""
    turned = prepared_of(with_layup(rocker=tuple((-x, z) for x, z in reversed(ROCKER))))
    assert "floor" in read(prepared, texts(turned)).findings.kinds


def test_a_hole_planned_off_its_casting_is_found(prepared: Prepared, files: dict[str, str]):
    """Work and file agree and are both wrong: only the flat areas, mapped again, tell."""
    trim, bolts = laid_works(prepared)
    off = replace(bolts, holes=tuple(replace(hole, x=hole.x + 6.0) for hole in bolts.holes))
    shifted = {**files, "10-D-bolt-holes.nc": moved(files["10-D-bolt-holes.nc"], "X", 6.0)}
    found = read_back(shop_of(prepared), [trim, off], PlanFiles(shifted))
    says = " ".join(str(finding) for finding in found.findings)
    assert "P1: the hole leaves its casting" in says and "I1: the hole is" in says


def test_heads_say_what_to_touch_and_what_is_left(files: dict[str, str]):
    """The form of the coupon is 60 high at its lowest, rise 0, and stands on the bed."""
    head = files["09-D-trim.nc"].replace(")\n(", " ")
    zero = re.search(r"Zero lies at (.*?) mm (.*?)  ?Cutter", re.sub(r"\s+", " ", head))
    assert zero is not None
    assert zero[1] == "X0.0000 Y0.0000 Z0.0000"
    assert (
        zero[2].strip()
        == "from the middle of the blank along the chord, Z over the rise 0 of the form"
    )
    for words in (
        "over the rise 0 of the form",
        "60.00 above the bed that the cradle stands on",
        "in its cradle",
        "the face of the cradle at X0",
        "leaves a web of 0.50",
        "degrees",
        "dust",
    ):
        assert words in re.sub(r"\s+", " ", head)
    assert "into the cradle: have waste wood there" in re.sub(
        r"\s+", " ", files["10-D-bolt-holes.nc"].replace(")\n(", " ")
    )


def test_the_allowance_is_measured_along_the_arc_as_on_the_template():
    """At a nose that tilts by 24 degrees, 2.0 along the board are 1.83 seen from above."""
    rocker = tuple((x, x * math.tan(math.radians(24.0))) for x in (-120.0, 120.0))
    made = prepared_of(with_layup(TrimSection(allowance=2.0), rocker=rocker))
    work = laid_works(made)[0]
    bare = work.trim.laid.shape(made.board.outline, work.trim.laid.edge_middle)
    grown = work.trim.area.bounds[2] - bare.bounds[2]
    assert grown == pytest.approx(2.0 * math.cos(math.radians(24.0)), abs=0.002)
    assert work.trim.area.bounds[3] - bare.bounds[3] == pytest.approx(2.0, abs=0.002)


def test_tilt_takes_of_the_wall_round_a_bolt():
    """Registration with a cradle: half the core's height times the tangent of the tilt, less than
    without."""

    def wall(job: Job) -> Any:
        made = prepared_of(job)
        from corepath.stackup.checks.registration import registered

        return next(
            thing.left for thing in registered(made.stackup, made.board) if thing.kind == "plug"
        )

    with_it, without = wall(with_layup()), wall(with_layup(cradle=False))
    board = prepared_of(with_layup())
    from corepath.layup.laid import laid_up

    laid = laid_up(board.job, board.board)
    tilt = abs(float(laid.tilt(-66.0)))
    taken = float(laid.deck.height(-66.0, 7.0)) / 2.0 * np.tan(tilt)
    assert without.nominal - with_it.nominal == pytest.approx(taken, abs=1e-6)
    shift = abs(float(laid.taper_shift(-66.0)))
    assert shift > 0.005
    assert with_it.parts["taper"].extremes == pytest.approx((-shift, shift))
    assert with_it.parts["lay-up"].sensitivity == pytest.approx(
        abs(float(laid.tilt(-66.0) - laid.tilt(0.0)))
    )


def test_a_web_thicker_than_the_board_is_a_fault():
    from corepath.errors import InputError

    with pytest.raises(InputError, match=r"trim\.web: nothing is left to cut"):
        prepared_of(with_layup(TrimSection(web=7.0)))
