"""The table of the kinds of entry in an as-cut record: one row here is all that a new kind needs.

From it come the options of `corepath record` and their help, the form of the file, the rules that
reject an entry, the figures that the kind settles for planning, the order of the work, and the
tables of docs/record.md. What a kind settles goes to the field of `Settled` of that name, or to
`Settled.more` where there is no such field.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from corepath.job.record import casting_rules as of_castings
from corepath.job.record import figure_rules as of_figures
from corepath.job.record import gather
from corepath.job.record import step_rules as of_steps
from corepath.job.record.entry import (
    OPERATIONS,
    SETUPS,
    STAGES,
    Entry,
    figure,
    operation_and_pass,
    place_words,
    subject,
)
from corepath.job.record.gather import Gather
from corepath.job.record.reasons import Rule

__all__ = [
    "KINDS", "OPERATIONS", "SETUPS", "STAGES", "Entry", "EntryKind", "Typed", "describe", "figure",
    "operation_and_pass", "place_words", "rank", "shown_by", "subject",
]  # fmt: skip

ValueKind = Literal["length", "amount", "percent", "minutes", ""]


@dataclass(frozen=True, slots=True)
class Typed:
    """An option of `corepath record` that makes an entry of one kind.

    `words` are the arguments that follow it, each with the key that it sets ("x" and "y" set `at`,
    "dx", "dy" and, if any, "dz" set `by`).
    `flag`, with its help, is a second option that makes this one an entry of this kind. `beside`
    are further options that may be typed with it: option, argument, key and help of each.
    """

    option: str
    words: tuple[tuple[str, str], ...]
    help: str
    flag: tuple[str, str] | None = None
    beside: tuple[tuple[str, str, str, str], ...] = ()

    @property
    def repeats(self) -> bool:
        """Whether it may be given more than once: where it names what it is about."""
        return bool(
            {"x", "casting", "operation", "cutter", "insert", "file", "setup"}
            & {key for _, key in self.words}
        )


@dataclass(frozen=True, slots=True)
class EntryKind:
    """One kind of entry.

    `what` names it in tables. `needs` are the keys that it has in the file beside `n`, `date`,
    `stage` and `kind`, `may` optional ones, `one_of` keys of which it must have one. `value` is
    what its figure means; it must be greater than `least` (None: either sign), and `signed` is the
    message for one typed with a minus. `after` is the operation after which it is measured (empty:
    before anything is cut), `order` its rank among those of the same operation (lower comes first;
    the order of the table where equal), `shows` what it proves to be done: an operation, or "resin"
    that its casting is poured. `staged`: it may be given for an earlier stage. `rule` rejects
    impossible entries. `settles`: the fields of `Settled`, each with the function that gathers it.
    `when` and `replaces` are texts of the guide.
    """

    what: str
    needs: tuple[str, ...] = ()
    may: tuple[str, ...] = ()
    one_of: tuple[str, ...] = ()
    value: ValueKind = "length"
    least: float | None = 0.0
    signed: str = ""
    typed: tuple[Typed, ...] = ()
    after: str = ""
    order: int = 0
    shows: str = ""
    staged: bool = False
    rule: Rule | None = None
    settles: tuple[tuple[str, Gather], ...] = ()
    when: str = ""
    replaces: str = "nothing"


_AT = (("X", "x"), ("Y", "y"))

KINDS: dict[str, EntryKind] = {
    "thickness": EntryKind(
        "thickness",
        ("at", "value"),
        typed=(
            Typed(
                "--thickness",
                (*_AT, ("T", "value")),
                "Thickness of the blank at a place of the board.",
            ),
        ),
        rule=of_figures.thickness,
        settles=(("thickness", gather.placed),),
        when="before A",
        replaces="the blank's thickness there",
    ),
    "height": EntryKind(
        "height of the raw top",
        ("at", "value"),
        typed=(
            Typed(
                "--height",
                (*_AT, ("H", "value")),
                "Height of the raw top above the bed at a place of the board, as held in A.",
            ),
        ),
        rule=of_figures.height,
        settles=(("heights", gather.placed),),
        when="before A, the blank held as it will be cut; by a probe: `--probed FILE`",
        replaces="thickness and gap there together, within tolerances.probe",
    ),
    "thickness-after": EntryKind(
        "thickness after the skim",
        ("at", "value"),
        typed=(
            Typed(
                "--thickness",
                (*_AT, ("T", "value")),
                "Thickness of the blank at a place of the board.",
                flag=("--after-skim", "The thicknesses given were measured after the skim."),
            ),
        ),
        after="skim",
        rule=of_figures.thickness_after,
        settles=(("thickness_after", gather.placed_after_stop),),
        when="after the skim",
        replaces="where the skim should have ended",
    ),
    "groove-depth": EntryKind(
        "groove depth",
        ("at", "value"),
        typed=(
            Typed(
                "--groove-depth",
                (*_AT, ("D", "value")),
                "Depth of the groove below the raw top, by depth gauge.",
            ),
        ),
        after="groove",
        shows="groove",
        rule=of_castings.groove_depth,
        settles=(("groove_depth", gather.placed),),
        order=-2,
        when="after the groove, depth gauge from the raw top",
        replaces="nothing; it narrows D, as expected from thickness, gap and floor, in *window* "
        "and *shows*",
    ),
    "pocket-depth": EntryKind(
        "pocket depth",
        ("casting", "value"),
        typed=(
            Typed(
                "--pocket-depth",
                (("NAME", "casting"), ("D", "value")),
                "Depth of a plug's pocket below the raw top.",
            ),
        ),
        after="groove",
        shows="plug-pockets",
        rule=of_castings.pocket_depth,
        settles=(("pocket_depth", gather.latest_by("casting")),),
        order=-3,
        when="after the pockets",
        replaces="the same for one plug",
    ),
    "fill": EntryKind(
        "resin below the raw top",
        ("casting", "value"),
        least=None,
        typed=(
            Typed(
                "--fill",
                (("NAME", "casting"), ("P", "value")),
                "After the cure: how far the resin lies below the raw top at its lowest point; "
                "minus: proud.",
            ),
        ),
        after="groove",
        shows="resin",
        rule=of_castings.fill,
        settles=(("fill", gather.latest_by("casting")), ("topped_up", gather.topped_up)),
        when="after the cure: how far the resin lies below the raw top at its lowest",
        replaces="the expected p in *fill*",
    ),
    "top-up": EntryKind(
        "top-up",
        ("casting", "value", "unit"),
        value="amount",
        typed=(
            Typed(
                "--top-up",
                (("NAME", "casting"), ("G", "value")),
                "A second pour: grams poured, or as 1.2mm by how much it was raised.",
            ),
        ),
        after="groove",
        shows="resin",
        rule=of_castings.top_up,
        settles=(("top_ups", gather.top_ups),),
        when="after a second pour",
        replaces="nothing; measure the fill again",
    ),
    "void": EntryKind(
        "void",
        ("casting",),
        value="",
        typed=(Typed("--void", (("NAME", "casting"),), "A void was found in this casting."),),
        after="groove",
        shows="resin",
        rule=of_castings.in_casting,
        settles=(("voids", gather.unfilled),),
        order=-1,
        when="when seen",
        replaces="nothing; `check` and sheet say what to do until it is topped up",
    ),
    "leak": EntryKind(
        "leak",
        ("casting",),
        value="",
        typed=(Typed("--leak", (("NAME", "casting"),), "This casting leaked."),),
        after="groove",
        shows="resin",
        rule=of_castings.in_casting,
        settles=(("leaks", gather.unfilled),),
        order=-1,
        when="when seen",
        replaces="nothing; the same",
    ),
    "stop": EntryKind(
        "skim stopped",
        may=("plane", "pass"),
        one_of=("plane", "pass"),
        value="",
        typed=(
            Typed(
                "--stop-at",
                (("HEIGHT", "plane"),),
                "Height of the pass after which all castings showed all round, as its file's head "
                "names it.",
            ),
            Typed(
                "--stop",
                (("PASS", "pass"),),
                "The same by the number in the name of the file that was cut, 05-B-skim-pass-N.nc.",
            ),
        ),
        after="skim",
        rule=of_steps.stop,
        settles=(("stop", gather.last("number")), ("stop_plane", gather.last("plane"))),
        order=-1,
        when="when all castings show",
        replaces="earliest, likely and latest stop; fill is judged there and not lower",
    ),
    "touch": EntryKind(
        "touch",
        ("operation", "value"),
        signed="is a height above the bed: type it without its sign",
        typed=(
            Typed(
                "--touch",
                (("OPERATION", "operation"), ("HEIGHT", "value")),
                "Height of the touched face above the bed: with Z zero on the bed what the control "
                "shows on the face, with Z zero on the face what it shows on the bed, without its "
                "sign.",
            ),
        ),
        rule=of_figures.touch,
        settles=(("touches", gather.latest_by("operation")),),
        when="before an operation, when Z is set",
        replaces="in A: a measured height of the raw top at the touched place",
    ),
    "seat-depth": EntryKind(
        "seat depth",
        ("insert", "value"),
        typed=(
            Typed(
                "--seat-depth",
                (("NAME", "insert"), ("D", "value")),
                "Depth of an insert's seat below the skimmed face.",
            ),
        ),
        after="inserts",
        shows="inserts",
        rule=of_figures.seat_depth,
        settles=(("seat_depth", gather.latest_by("insert")),),
        when="after the inserts, depth gauge from the skimmed face",
        replaces="the recess in *seat*, *wood-over-seat* and *barrel*",
    ),
    "bore-depth": EntryKind(
        "bore depth",
        ("insert", "value"),
        typed=(
            Typed(
                "--bore-depth",
                (("NAME", "insert"), ("D", "value")),
                "Depth of an insert's blind bore below the skimmed face.",
            ),
        ),
        after="inserts",
        shows="inserts",
        rule=of_figures.bore_depth,
        settles=(("bore_depth", gather.latest_by("insert")),),
        when="after the inserts, where the bore is blind",
        replaces="how far the deck pass must go to open it",
    ),
    "off-place": EntryKind(
        "insert off its place",
        ("insert", "by"),
        value="",
        typed=(
            Typed(
                "--off-place",
                (("NAME", "insert"), ("DX", "dx"), ("DY", "dy")),
                "An insert's seat or bore lies off its place: where it is less where it should be, "
                "along X and Y of the board.",
            ),
        ),
        after="inserts",
        shows="inserts",
        rule=of_steps.off_place,
        settles=(("off_place", gather.off_places),),
        when="after the inserts, when found",
        replaces="its place in all checks, in what is cut from there on and on drawings",
    ),
    "width": EntryKind(
        "width of the blank",
        ("value",),
        typed=(
            Typed(
                "--width", (("W", "value"),), "Width of the blank across the grain, as it is now."
            ),
        ),
        staged=True,
        rule=of_figures.width,
        settles=(("widths", gather.latest_by("stage")),),
        order=-1,
        when="with `--stage`, before A and later",
        replaces="the moisture's share in *registration*",
    ),
    "moisture": EntryKind(
        "moisture content",
        ("value",),
        value="percent",
        typed=(
            Typed(
                "--moisture",
                (("PERCENT", "value"),),
                "Moisture content of the blank, as it is now.",
            ),
        ),
        staged=True,
        rule=of_figures.moisture,
        settles=(("moisture", gather.latest_by("stage")),),
        order=-1,
        when="when measured",
        replaces="nothing; kept with its stage",
    ),
    "coupon-diameter": EntryKind(
        "coupon: cutter's diameter",
        ("cutter", "value"),
        typed=(
            Typed(
                "--coupon-diameter",
                (("NUMBER", "cutter"), ("D", "value")),
                "Coupon: true diameter that a cutter cuts.",
            ),
        ),
        rule=of_figures.coupon_diameter,
        settles=(("coupon_diameter", gather.latest_by("cutter")),),
        order=-1,
        when="after the coupon",
        replaces="its diameter in all paths and in *registration*",
    ),
    "coupon-z": EntryKind(
        "coupon: floor too high by",
        ("value",),
        least=None,
        typed=(
            Typed(
                "--coupon-z",
                (("BIAS", "value"),),
                "Coupon: by how much its floors came out too high; minus: too low.",
            ),
        ),
        rule=of_figures.coupon_z,
        settles=(("coupon_z", gather.last("value")),),
        order=-1,
        when="after the coupon",
        replaces="the machine's tolerance",
    ),
    "coupon-groove-width": EntryKind(
        "coupon: groove's width",
        ("value",),
        ("nominal",),
        typed=(
            Typed(
                "--coupon-groove-width",
                (("W", "value"),),
                "Coupon: width of its groove as measured.",
                beside=(
                    (
                        "--coupon-nominal",
                        "W",
                        "nominal",
                        "Coupon: width its groove should have; this job's groove if not given.",
                    ),
                ),
            ),
        ),
        rule=of_figures.coupon_groove_width,
        settles=(
            ("coupon_groove_width", gather.last("value")),
            ("coupon_groove_nominal", gather.last("nominal")),
        ),
        order=-1,
        when="after the coupon",
        replaces="the cutter's tolerance",
    ),
    "cut": EntryKind(
        "cut",
        ("operation",),
        ("pass", "plane"),
        value="",
        typed=(
            Typed(
                "--cut",
                (("OPERATION", "operation"),),
                "This operation is done, such as groove or skim-pass-3 (by the file's name).",
            ),
        ),
        rule=of_steps.cut,
        settles=(("cut", gather.operations),),
        when="after each operation (`dowels`, `plug-pockets`, `groove`, `flush`, `inserts` …)",
        replaces="nothing; its file moves to `done/`",
    ),
    "shift": EntryKind(
        "shift of a set-up",
        ("setup", "by"),
        value="",
        typed=(
            Typed(
                "--shift",
                (("SETUP", "setup"), ("DX", "dx"), ("DY", "dy"), ("DZ", "dz")),
                "What was cut in a set-up lies off its place: where it is less where it should "
                "be, along the machine's axes there.",
            ),
        ),
        rule=of_steps.shift,
        settles=(("shifts", gather.shifts), ("cut_since", gather.cut_since)),
        when="when found, in that set-up",
        replaces="where inserts (B) and trim (D) lie, what is left in *registration*; DZ: heights "
        "of floors (A), of the skimmed plane (B), of the deck (C)",
    ),
    "broken": EntryKind(
        "broken cutter",
        ("cutter",),
        value="",
        typed=(
            Typed(
                "--broken",
                (("NUMBER", "cutter"),),
                "This cutter is broken or worn out: no file ahead uses it.",
            ),
        ),
        settles=(("broken", gather.cutters),),
        when="when it broke; `--withdraw` once its like is fitted and measured",
        replaces="the cutter of each file ahead, by another listed one",
    ),
    "stopped": EntryKind(
        "file stopped",
        ("file", "line"),
        value="",
        typed=(
            Typed(
                "--stopped",
                (("FILE", "file"), ("LINE", "line")),
                "This file stopped at a line: what goes on from there is told.",
            ),
        ),
        rule=of_steps.stopped,
        settles=(("broken_off", gather.stopped_at),),
        when="when a file was broken off",
        replaces="nothing; until `--cut` the next step is its restart",
    ),
    "minutes": EntryKind(
        "minutes of a file",
        ("file", "value"),
        value="minutes",
        typed=(
            Typed(
                "--minutes",
                (("FILE", "file"), ("MINUTES", "value")),
                "Minutes that a file ran, without the time it waited at stops: the clock's "
                "acceleration and corner time are fitted to them.",
            ),
        ),
        rule=of_steps.minutes,
        order=1,
        when="after a file has run",
        replaces="nothing; it says which `machine.accel` and `machine.corner_time` fit, to be "
        "typed",
    ),
    "note": EntryKind(
        "note",
        ("note",),
        value="",
        when="at any time: `--note TEXT` alone",
    ),
    "withdrawn": EntryKind(
        "withdrawn",
        ("corrects",),
        value="",
        typed=(
            Typed(
                "--withdraw",
                (("N", "corrects"),),
                "Mark entry N as wrong: it stays in the file and is ignored.",
            ),
        ),
        order=-2,
        when="when an entry was wrong and has no right figure",
        replaces="nothing; entry N is ignored",
    ),
}


def shown_by(entry: Entry) -> str:
    """Return what an entry proves done, "" for nothing; unknown kinds prove nothing."""
    return KINDS[entry.kind].shows if entry.kind in KINDS else ""


def describe(entry: Entry, scale: float = 1.0) -> str:
    """Return an entry in a few words for messages: what, where, value; lengths in units of `scale`
    mm."""
    what = KINDS[entry.kind].what
    return " ".join(part for part in (what, subject(entry, scale), figure(entry, scale)) if part)


def rank(entry: Entry) -> tuple[int, int, float]:
    """Return the sort key of the order of the work: cuts by their operation, a touch just before
    it, a figure after the operation it belongs to."""
    # Passes of the skim: the highest plane is cut first. A pass known by its number alone goes by
    # that; no plane and no number is 0.
    if entry.kind in ("cut", "touch"):
        operation = (
            OPERATIONS.index(entry.operation) if entry.operation in OPERATIONS else len(OPERATIONS)
        )
        return (
            operation,
            -1 if entry.kind == "touch" else 0,
            -(entry.plane or 0.0) or float(entry.number or 0),
        )
    if entry.kind == "shift":
        # what is recorded as cut beside it was cut before it was found
        return len(OPERATIONS), 1, 0.0
    kind = KINDS[entry.kind]
    after = OPERATIONS.index(kind.after) if kind.after else -1
    return after, 1, float(kind.order * len(KINDS) + list(KINDS).index(entry.kind))
