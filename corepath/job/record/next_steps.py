"""What to measure or do next, in words, each with the command that records it.

The order is that of the work: thickness of the blank, set-up A, depths of groove and pockets, the
pour, the fill, the skim and its stop, thickness after it, inserts, deck. The first line is what the
work waits for; the others may be measured at the same time. Words in capitals are placeholders for
the figure to type; places are in the board frame.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator, Sequence

from corepath.job.record.record_facts import JobFacts
from corepath.job.record.settled import Settled

__all__ = ["blank_places", "next_measurements"]

_IN_A = ("dowels", "plug-pockets", "groove")
# castings or inserts written out in one command, at most; the others are named after it
_MOST_PLUGS = 6


def next_measurements(facts: JobFacts, settled: Settled) -> list[str]:
    """Return what comes next, one line for each thing, in order."""
    steps = {
        "blank": _blank,
        "A": _in_a,
        "cast": _cast,
        "B": _in_b,
        "inserts": _after_inserts,
        "C": _in_c,
    }
    return [
        *_went_wrong(facts, settled),
        *steps[settled.stage](facts, settled),
        *_width(facts, settled),
    ]


def _went_wrong(facts: JobFacts, settled: Settled) -> Iterator[str]:
    """Yield what comes before all else: a file that stopped, a cutter that is broken."""
    folder = "" if facts.folder is None else f"{facts.folder.name}/"
    for file, line in settled.broken_off.items():
        yield (
            f"{file} stopped at line {line}. Look at cutter and wood, touch Z with the cutter that "
            "is fitted, and go on from there: corepath restart "
            f"{shlex.quote(folder + file)} --from-line {line}"
        )
    for number in settled.broken:
        yield (
            f"T{number} is broken: files ahead are planned without it. Once its like is fitted and "
            f"measured, take the entry back: {_command(facts, '--withdraw N')}"
        )


def _command(facts: JobFacts, *options: str) -> str:
    return " ".join(["corepath record", shlex.quote(facts.file), *options])


def _place(facts: JobFacts, at: tuple[float, float]) -> str:
    """Return a place as it is typed."""
    return f"{facts.shown(at[0])} {facts.shown(at[1])}"


def _blank(facts: JobFacts, settled: Settled) -> list[str]:
    lines = []
    if not settled.thickness and not facts.measured:
        options = [f"--thickness {_place(facts, at)} T" for at in blank_places(facts)]
        lines.append(
            "Measure the blank's thickness with callipers near the corners and at the middle of "
            "the sides: " + _command(facts, *options)
        )
    lines.append(_cut_a(facts, settled))
    if not (
        settled.coupon_diameter
        or settled.coupon_z is not None
        or settled.coupon_groove_width is not None
    ):
        lines.append(
            "If a coupon was cut, record what it gave: "
            + _command(
                facts, "--coupon-diameter NUMBER D", "--coupon-z BIAS", "--coupon-groove-width W"
            )
        )
    return lines


def blank_places(facts: JobFacts) -> list[tuple[float, float]]:
    """Return six places, mm, at the corners and the middles of the long sides, within reach of
    callipers and in whole mm or half inches."""
    inset = min(30.0, 0.1 * min(facts.length, facts.width))
    # int() cuts towards the middle, so that rounding never moves a place off the blank
    step = facts.scale if facts.units == "mm" else facts.scale / 2
    x, y = (int((half - inset) / step) * step for half in (facts.length / 2, facts.width / 2))
    return [(-x, -y), (-x, y), (0.0, -y), (0.0, y), (x, -y), (x, y)]


def _cut_a(facts: JobFacts, settled: Settled) -> str:
    left = [name for name in _IN_A if name in facts.operations and name not in settled.cut]
    return f"Cut set-up A ({', '.join(left)}), then: " + _command(
        facts, *(f"--cut {name}" for name in left)
    )


def _groove_is_cut(settled: Settled) -> bool:
    return "groove" in settled.cut or bool(settled.groove_depth)


def _in_a(facts: JobFacts, settled: Settled) -> list[str]:
    if not _groove_is_cut(settled):
        return [_cut_a(facts, settled)]
    lines = []
    groove = next(casting for casting in facts.castings.values() if casting.operation == "groove")
    if not settled.groove_depth:
        places = [_place(facts, at) for at in groove.places] or ["X Y"]
        lines.append(
            "Measure the groove's depth from the raw top with a depth gauge, at its ends and "
            "sides: " + _command(facts, *(f"--groove-depth {place} D" for place in places))
        )
    plugs = [
        casting.id
        for casting in facts.castings.values()
        if casting.operation == "plug-pockets" and casting.id not in settled.pocket_depth
    ]
    if plugs:
        lines.append(
            "Measure the depth of the plug pockets: " + _each(facts, "--pocket-depth", plugs, "D")
        )
    return [*lines, "Pour, let it cure in full, then: " + _fills(facts, facts.castings)]


def _each(facts: JobFacts, option: str, names: Sequence[str], letter: str) -> str:
    more = f" and so on for {', '.join(names[_MOST_PLUGS:])}" if len(names) > _MOST_PLUGS else ""
    return _command(facts, *(f"{option} {name} {letter}" for name in names[:_MOST_PLUGS])) + more


def _fills(facts: JobFacts, names: Iterable[str]) -> str:
    return (
        "measure how far the resin lies below the raw top at its lowest point (minus where it "
        "stands proud): " + _each(facts, "--fill", list(names), "P")
    )


def _cast(facts: JobFacts, settled: Settled) -> list[str]:
    unknown = [name for name in facts.castings if name not in settled.fill]
    lines = []
    if settled.topped_up:
        lines.append("After the top-up has cured, " + _fills(facts, settled.topped_up))
    if unknown:
        lines.append("After the cure, " + _fills(facts, unknown))
    if not _groove_is_cut(settled) and "groove" not in settled.fill:
        lines.append(_cut_a(facts, settled))
    return [*lines, "Turn the blank over. " + _skim(facts)]


def _skim(facts: JobFacts) -> str:
    planned = (
        "" if facts.planned_plane is None else f" (planned: {facts.height(facts.planned_plane)})"
    )
    return (
        "Skim until the castings show at full width all round and at every plug, then record the "
        f"height of the pass{planned}: " + _command(facts, "--stop-at HEIGHT")
    )


def _in_b(facts: JobFacts, settled: Settled) -> list[str]:
    if not settled.stopped:
        return [_skim(facts)]
    lines = []
    if not settled.thickness_after:
        options = [f"--thickness {_place(facts, at)} T" for at in blank_places(facts)]
        lines.append(
            "Measure the thickness after the skim: " + _command(facts, "--after-skim", *options)
        )
    if settled.topped_up:
        lines.append("After the top-up has cured, " + _fills(facts, settled.topped_up))
    if "inserts" in facts.operations:
        lines.append(
            "Touch the skimmed face, bore the inserts, then: "
            + _command(facts, "--cut inserts", "--touch inserts HEIGHT")
        )
        return lines
    return [*lines, _deck(facts)]


def _deck(facts: JobFacts) -> str:
    return "Turn the blank deck up, cut the deck, then: " + _command(facts, "--cut deck")


def _after_inserts(facts: JobFacts, settled: Settled) -> list[str]:
    # Before the deck: the skimmed face then lies on the bed, and a bore that is too short for the
    # deck pass to open can still be made deeper.
    lines = []
    seats = [name for name in facts.inserts if name not in settled.seat_depth]
    if seats:
        says = "Measure the seats below the skimmed face with a depth gauge: "
        lines.append(says + _each(facts, "--seat-depth", seats, "D"))
    # Only a blind bore has a depth, and only there must the deck pass reach it.
    blind = [
        name
        for name, through in facts.inserts.items()
        if not through and name not in settled.bore_depth
    ]
    if blind:
        says = "Measure the blind bores below the skimmed face, which the deck pass must open: "
        lines.append(says + _each(facts, "--bore-depth", blind, "D"))
    return [*lines, _deck(facts)]


def _in_c(facts: JobFacts, settled: Settled) -> list[str]:
    if "deck" not in settled.cut:
        return ["Finish the deck, then: " + _command(facts, "--cut deck")]
    left = [
        name
        for name in ("trim", "bolt-holes")
        if name in facts.operations and name not in settled.cut
    ]
    if left:
        cuts = _command(facts, *(f"--cut {name}" for name in left))
        return [f"The core is cut. After lay-up ({', '.join(left)}): {cuts}"]
    return ["All is recorded; nothing is left to measure."]


def _width(facts: JobFacts, settled: Settled) -> list[str]:
    """Return the line that asks for the width again in each stage, where it was measured once: its
    change shows the movement of the wood."""
    if not settled.widths or settled.stage in settled.widths or settled.stage == "C":
        return []
    return ["Measure the blank's width across the grain again: " + _command(facts, "--width W")]
