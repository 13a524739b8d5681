"""Check the folder of a plan with numpy alone: `python3 docs/verify.py DIR`. Shares no code with
corepath.

It takes the design from `job.resolved.json` and `geometry.json`, zero and cutter of each file and
the skim's planes from `report.json`, reads the .nc files (the plain part of RS-274 that a plan is
written in), and cuts columns: points spread over the blank by chance, more of them 0.05 mm on
either side of every wall, and nodes of the deck's grid. A column knows only how high it stands:
every set-up begins with a whole blank, as high as it may be there. Lengths in mm, heights above the
bed. Ends with 1 where anything is wrong.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
import sys
from pathlib import Path

import numpy as np

WALL, DEPTH, GOUGE, CHORD, CLEAR = 0.05, 0.01, 0.02, 0.001, 3.0
WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))")
PREAMBLE = ("G17", "G90", "G94", "G40", "G49", "G80")
KNOWN = {0, 1, 2, 3, 4, 17, 20, 21, 40, 43, 49, 54, 55, 61, 64, 80, 81, 83, 90, 94, 98, 99}
found: list[str] = []
count: dict[str, int] = {}
STILL = "cuts with the spindle off or slow, or without a feed"
SHOWN = 20  # breaches of one file; more are only counted


def breach(file: str, line: int, message: str) -> None:
    found.append(f"{file}{f':{line}' if line else ''}: {message}")
    count[file] = count.get(file, 0) + 1
    if count[file] <= SHOWN:
        print("BREACH", found[-1])


def read(
    name: str,
    text: str,
    rpm_least: float,
    system="G54",
    offset=False,
    exact=False,
    wait=0.0,
    walks=False,
):
    """Motions: G code, line, start, end (z of arcs runs evenly), centre and sweep of an arc, feed;
    chords come later. Beside them the stops: how many motions come before each. And how many
    motions lead to a stop before the spindle first turns, the first way down, to see whether zero
    is right: they must cut nothing, and count as rapids."""
    place, moves, seen, stops, slow, still, tool = [math.nan] * 3, [], set(), [], 0, [], math.nan
    unit, motion, spindle, speed, feed, ended, started = 0.0, 0, False, 0.0, 0.0, False, False
    cycle = {"Z": 0.0, "R": 0.0, "back": 0.0, "old": False}
    fitted, waited = offset, 0.0
    for number, raw in enumerate(text.split("\n"), 1):
        odd = re.search(r"[\x00-\x08\x0b-\x1f\x7f]", raw.removesuffix("\r"))
        if odd:
            breach(name, number, f"a character of code {ord(odd[0])}, which a control may act upon")
        bare = re.sub(r"\([^()]*\)", "", raw).strip()
        if not bare:
            continue
        if re.sub(WORD, "", bare).strip() or ended:
            breach(name, number, "comes after the end" if ended else f"cannot be read: {bare[:40]}")
            continue
        words = [(letter, float(value)) for letter, value in WORD.findall(bare)]
        codes, values = [value for letter, value in words if letter == "G"], dict(words)
        seen |= {f"G{code:g}" for code in codes}
        tool = values.get("T", tool)
        for code in codes:
            if code not in KNOWN:
                breach(name, number, f"G{code:g} is not of the plain kind")
            unit = {20: 25.4, 21: 1.0}.get(int(code), unit)
            motion = int(code) if code in (0, 1, 2, 3, 81, 83) else 0 if code == 80 else motion
            if code == 43 and not (offset and values.get("H", 0) == tool):
                breach(
                    name, number, "calls the length of another cutter, or one that is not planned"
                )
            cycle["old"] = {98: True, 99: False}.get(int(code), cycle["old"])
        speed = values.get("S", speed)
        feed = values.get("F", feed)
        waited += values.get("P", 0.0) if 4 in codes else 0.0
        for stop in [value for letter, value in words if letter == "M"]:
            if stop == 0:
                stops.append(len(moves))
                fitted |= tool == tool  # a stop after a T word
            if stop == 0 and moves and not slow and still is not None:
                slow = len(moves)
                still.clear()
            if stop in (3, 5):
                spindle, waited = stop == 3, 0.0
                if spindle and walks:
                    breach(name, number, "starts the spindle")
                if spindle:
                    told_still(name, still)
                    still = None
            elif stop in (0, 1, 6) and spindle:
                breach(name, number, "stops with the spindle running")
            elif stop in (2, 30):
                ended = True
                if spindle:
                    breach(name, number, "ends with the spindle running")
            elif stop not in (0, 1, 6):
                breach(name, number, f"M{stop:g} is not of the plain kind")
        if 4 in codes or not {"X", "Y", "Z"} & set(values):
            continue
        if not started:
            started = True
            missing = [code for code in (*PREAMBLE, system) if code not in seen] + (
                [] if unit else ["G20 or G21"]
            )
            missing += [] if seen & {"G61", "G64"} else ["G61 or G64"]
            if missing:
                breach(name, number, f"moves before {', '.join(missing)}")
            if not fitted:
                breach(name, number, "moves before a stop to fit the cutter and to touch Z with it")
        target = [
            values[axis] * unit if axis in values else place[k] for k, axis in enumerate("XYZ")
        ]
        if motion and feed > 0.0 and still is not None:
            still.append(number)
        elif motion and (not spindle or speed < rpm_least or feed <= 0.0):
            breach(name, number, STILL)
        elif motion and waited < wait - 0.051:
            breach(
                name,
                number,
                f"cuts {waited:g} s after the start of the spindle, which needs {wait:g}",
            )
            waited = wait
        if motion in (81, 83):
            cycle |= {key: values[key] * unit for key in "ZR" if key in values}
            back = place[2] if cycle["old"] else cycle["R"]
            steps = [
                (0, [*target[:2], place[2]]),
                (0, [*target[:2], cycle["R"]]),
                (1, [*target[:2], cycle["Z"]]),
            ]
            for kind, end in [*steps, (0, [*target[:2], back])]:
                moves.append((kind, number, place, end, (0.0, 0.0, 0.0), feed * unit))
                place = end
            continue
        arc = (0.0, 0.0, 0.0)
        if motion in (2, 3):
            cx, cy = (place[k] + values.get(letter, 0.0) * unit for k, letter in enumerate("IJ"))
            first, last = (math.atan2(p[1] - cy, p[0] - cx) for p in (place, target))
            sweep = (
                (last - first) % (2 * math.pi) if motion == 3 else -((first - last) % (2 * math.pi))
            )
            # ends at one angle: once round, either way
            if min(abs(sweep), 2 * math.pi - abs(sweep)) < 1e-9:
                sweep = math.copysign(2 * math.pi, 1 if motion == 3 else -1)
            if abs(math.dist(place[:2], (cx, cy)) - math.dist(target[:2], (cx, cy))) > 0.003:
                breach(name, number, "the arc's radius at its start is not that at its end")
            arc = (cx, cy, sweep)
        moves.append((motion, number, place, target, arc, feed * unit))
        place = target
    told_still(name, [] if walks else still)
    if ("G64" if exact else "G61") in seen:
        breach(
            name,
            0,
            "keeps to its path by "
            f"{'G64, the job asks for G61' if exact else 'G61, the job asks for G64'}",
        )
    if not ended:
        breach(name, 0, "has no end")
    other = {"G54": "G55", "G55": "G54"}[system]
    if offset and "G43" not in seen:
        breach(name, 0, "does not call the length of its cutter")
    if other in seen:
        breach(name, 0, f"works in {other}, its zero is that of {system}")
    return moves, stops, slow


def told_still(name: str, lines) -> None:
    """Cuts before the spindle ever turned."""
    for number in lines or ():
        breach(name, number, STILL)


def first_way(name, moves, slow, zero, old, highest) -> None:
    """Where the zero is another than in the file before: slowly down to a stop, clear under the old
    zero as well."""
    if not slow:
        breach(
            name, 0, "its zero is another than before, and it does not stop on the first way down"
        )
    for kind, line, _, end, *_ in moves[:slow]:
        if kind == 0:
            breach(
                name, line, "its zero is another than before, and the first way down goes at rapid"
            )
        if not end[2] + min(zero["z"], old["z"]) >= highest + CLEAR - DEPTH:
            breach(
                name,
                line,
                f"with the zero of the file before, the first way down comes within {CLEAR:g} mm",
            )


def pieces(moves, zero):
    """Straight pieces on the bed: their motion, rapid or not, line, start, end. Places not known
    yet are far up."""
    for index, (kind, line, start, end, (cx, cy, sweep), _) in enumerate(moves):
        a = np.array([1e3 if math.isnan(v) else v for v in start]) + zero
        b = np.array([1e3 if math.isnan(v) else v for v in end]) + zero
        if math.isnan(start[0]) or math.isnan(start[1]):
            a[:2] = b[:2]
        count, radius = 1, math.hypot(start[0] - cx, start[1] - cy) if sweep else 0.0
        if sweep:
            step = 2 * math.acos(max(1 - CHORD / max(radius, CHORD), 0.0))
            count = max(1, math.ceil(abs(sweep) / step))
        angle = math.atan2(start[1] - cy, start[0] - cx) if sweep else 0.0
        before = a
        for k in range(1, count + 1):
            share = k / count
            after = b if k == count else a + share * (b - a)
            if sweep and k < count:
                turn = angle + share * sweep
                after[:2] = (
                    cx + zero[0] + radius * math.cos(turn),
                    cy + zero[1] + radius * math.sin(turn),
                )
            yield index, kind == 0, line, before, after
            before = after


def rise(d, r, c, a=0.0):
    """How far the cutter's underside stands above its tip at a distance from the axis. With the
    angle a (radians) at its side it is a tapered ball: round up to c cos a, then a cone."""
    if a:
        cone = c - c * math.sin(a) + (d - c * math.cos(a)) / math.tan(a)
        ball = c - np.sqrt(np.maximum(c * c - d * d, 0.0))
        return np.where(d > c * math.cos(a), cone, ball)
    return c - np.sqrt(np.maximum(c * c - np.maximum(d - (r - c), 0.0) ** 2, 0.0))


def end_of(cutter):
    """Radius, corner radius and taper (radians) of a cutter as the job lists it. A tapered ball is
    as wide as its cone at the end of its edges, and no wider than its shank."""
    r = cutter["diameter"] / 2
    if cutter["shape"] != "taper":
        return r, r if cutter["shape"] == "ball" else cutter["corner_radius"], 0.0
    a = math.radians(cutter["taper_angle"])
    wide = r * math.cos(a) + (cutter["cutting_length"] - r + r * math.sin(a)) * math.tan(a)
    return min(wide, (cutter["shank"] or math.inf) / 2), r, a


def lowest(x, y, a, b, r, c, side=0.0):
    """Lowest height of the cutter's underside over (x, y) on its way from a to b; infinite where it
    does not reach."""
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    if length < 1e-9:
        d = np.hypot(x - a[0], y - a[1])
        return np.where(d <= r, min(a[2], b[2]) + rise(d, r, c, side), np.inf)
    ux, uy, m = (b[0] - a[0]) / length, (b[1] - a[1]) / length, (b[2] - a[2]) / length
    u, v = (x - a[0]) * ux + (y - a[1]) * uy, (y - a[1]) * ux - (x - a[0]) * uy
    half = np.sqrt(np.maximum(r * r - v * v, 0.0))
    low, high = np.maximum(u - half, 0.0), np.minimum(u + half, length)
    reached = (np.abs(v) <= r) & (low <= high)
    if m == 0.0 or c == 0.0:
        t = np.clip(u, low, high) if m == 0.0 else low if m > 0 else high
    else:  # the height is convex along the way: close in on the lowest place
        for _ in range(36):
            one, other = low + (high - low) / 3, high - (high - low) / 3
            lower = m * one + rise(np.hypot(u - one, v), r, c, side) < m * other + rise(
                np.hypot(u - other, v), r, c, side
            )
            low, high = np.where(lower, low, one), np.where(lower, other, high)
        t = (low + high) / 2
    return np.where(reached, a[2] + m * t + rise(np.hypot(u - t, v), r, c, side), np.inf)


def within(x, y, area):
    """Even-odd rule over the rings of an area."""
    inside = np.zeros(len(x), dtype=bool)
    order = np.argsort(y, kind="stable")
    level = y[order]
    for ring in (area["outer"], *area["holes"]):
        for (x1, y1), (x2, y2) in zip(ring, [*ring[1:], ring[0]], strict=True):
            first, last = np.searchsorted(level, (min(y1, y2), max(y1, y2)))
            met = order[first:last]
            if len(met):
                inside[met] ^= x[met] < x1 + (y[met] - y1) / (y2 - y1) * (x2 - x1)
    return inside


def spared(x, y, entry):
    """Columns in what the report says is left uncut, as under a clamp."""
    return np.any(
        [
            np.zeros(len(x), dtype=bool),
            *(sides(x, y, piece)[1] for piece in entry.get("uncut", [])),
        ],
        axis=0,
    )


def framed(x, y, job, by):
    """Columns in the frame along the blank's edges that the deck's files leave at full height; `by`
    within its line."""
    if not job["deck"]["margin"]:
        return np.zeros(len(x), dtype=bool)
    far = [
        abs(v) > job["blank"][side] / 2 - job["deck"]["margin"] + by
        for v, side in ((x, "length"), (y, "width"))
    ]
    return far[0] | far[1]


def beyond(x, y, job, plan, by):
    """Columns outside what is to be finished of the deck: farther than `deck.beyond` outside the
    outline; `by` within its line."""
    far = np.zeros(len(x), dtype=bool)
    if job["deck"].get("beyond") is None:
        return far
    inside = within(x, y, {"outer": plan["outline"], "holes": []})
    ring = np.array(plan["outline"], dtype=float)
    start, way = ring, np.roll(ring, -1, axis=0) - ring
    long = np.maximum((way**2).sum(axis=1), 1e-12)
    for k in np.flatnonzero(~inside):
        here = np.array([x[k], y[k]]) - start
        share = np.clip((here * way).sum(axis=1) / long, 0.0, 1.0)
        away = np.hypot(*(here - share[:, None] * way).T).min()
        far[k] = away > job["deck"]["beyond"] + by
    return far


def sides(x, y, area):
    """Columns inside an area by more than half of WALL all round, and those not outside by as
    much."""
    beside = WALL / 2 * np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)])
    votes = np.stack([within(x + dx, y + dy, area) for dx, dy in beside])
    return votes.all(axis=0), votes.any(axis=0)


def beside(area, step=1.0):
    """Points WALL to either side of the rings of an area, about `step` apart, and no nearer to
    another edge."""
    rows = []
    for ring in (area["outer"], *area["holes"]):
        ends = np.array(ring)
        for a, b in zip(ends, np.roll(ends, -1, axis=0), strict=True):
            way = b - a
            long = math.hypot(*way)
            share = (np.arange(max(1, round(long / step))) + 0.5) / max(1, round(long / step))
            if long > 1e-6:
                across = WALL * np.array([-way[1], way[0]]) / long
                rows += [a + share[:, None] * way + across, a + share[:, None] * way - across]
    points = np.vstack(rows)
    edges = [
        np.stack([np.array(ring), np.roll(ring, -1, axis=0)], 1)
        for ring in (area["outer"], *area["holes"])
    ]
    a, b = np.vstack(edges).transpose(1, 0, 2)
    (dx, dy), long2 = (b - a).T, np.maximum(((b - a) ** 2).sum(1), 1e-18)
    gaps = []
    # few at a time, so that all fit in the cache
    for some in np.array_split(points, len(points) // 100 + 1):
        wx, wy = some[:, :1] - a[:, 0], some[:, 1:] - a[:, 1]
        t = np.clip((wx * dx + wy * dy) / long2, 0, 1)
        gaps.append(((wx - t * dx) ** 2 + (wy - t * dy) ** 2).min(1))
    return points[np.sqrt(np.concatenate(gaps)) > WALL - 0.005]


def main(folder: Path) -> int:
    names = ("job.resolved.json", "report.json", "geometry.json")
    job, report, plan = (json.loads((folder / name).read_text(encoding="utf-8")) for name in names)
    newer = [
        name
        for name, data in zip(names, (job, report, plan), strict=True)
        if data.get("schema", 1) != 1
    ]
    if newer:
        print(f"{', '.join(newer)}: of a form that this script does not know")
        return 1
    if plan["plan"] != report["plan"]:
        breach("geometry.json", 0, "is of another plan than report.json")
    if digest(job) != report["plan"]:
        breach(
            "job.resolved.json",
            0,
            f"is the job of plan {digest(job)}, the files are of {report['plan']}",
        )
    own = {key: value for key, value in report.items() if key != "seal"}
    if report.get("seal", "") not in ("", hashlib.sha256(canonical(own)).hexdigest()):
        breach("report.json", 0, "has changed since it was planned")
    for name, known in report.get("sha256", {}).items():
        if (folder / name).is_file() and hashlib.sha256(
            (folder / name).read_bytes()
        ).hexdigest() != known:
            breach(name, 0, "has changed since it was planned")
    entries, planes, stop = (
        report["operations"],
        report["skim"]["planes"],
        report["skim"]["planned_stop"],
    )
    listed, again = {entry["file"] for entry in entries}, []
    for path in sorted(one for one in folder.iterdir() if one.suffix.lower() == ".nc"):
        of = re.fullmatch(r"(.+)\.from-\d+(\.nc)", path.name)
        base = of and of[1] + of[2]
        if path.name not in listed and base not in listed:
            breach(path.name, 0, "is not of this plan")
        elif base in listed and path.name not in listed and (folder / base).is_file():
            known = hashlib.sha256((folder / base).read_bytes()).hexdigest()
            if known not in head_of(path.read_text("ascii", "replace")):
                breach(path.name, 0, f"is a restart of another file than the {base} here")
            else:
                again.append((path, base))
    order = [(entry["setup"], entry["order"]) for entry in entries]
    if order != sorted(order):
        breach("report.json", 0, "the files are not in the order of the work")
    if not entries:
        breach("report.json", 0, "the plan has no files")
    # resin that stands proud once it is cast
    raised = [a for a in plan["areas"] if a["operation"] == "flush"]
    raw = [
        a["top"]
        for a in plan["areas"]
        if a["setup"] == "A" and "top" in a and a["operation"] != "flush"
    ]
    thick = max([job["blank"]["thickness"], *raw])
    # The skim goes on until all castings show: nobody stops before the first pass that can do it.
    first = planes[min(stop, max(report["skim"]["earliest"], 1)) - 1]
    tops = {"A": thick, "B": thick, "C": first, "D": math.inf}
    known = {entry["file"]: text_of(folder, entry, report["plan"]) for entry in entries}
    for entry in entries:
        words(entry, known[entry["file"]] or "", report["plan"], job)
    machine = job["machine"]
    asked = (
        machine.get("length_offset", False),
        machine.get("exact_path", False),
        machine.get("spin_up", 0.0),
    )
    rpm = machine["spindle_rpm"][0]
    programs = {
        entry["file"]: read(entry["file"], known[entry["file"]], rpm, entry["system"], *asked)
        for entry in entries
        if known[entry["file"]] is not None
    }
    for path, base in again:
        entry = next(one for one in entries if one["file"] == base)
        text = path.read_text("ascii", "replace")
        words(entry, text, report["plan"], job, path.name)
        restart(
            path.name,
            text,
            entry,
            programs[base],
            read(path.name, text, rpm, entry["system"], *asked),
        )
    for entry in report.get("rehearsals", []):
        rehearsal(
            folder, entry, job, [one for one in entries if one["setup"] == entry["setup"]], programs
        )
    ways = {
        entry["file"]: Ways(entry, job, plan, programs[entry["file"]][0])
        for entry in entries
        if entry["file"] in programs
    }
    x, y, nodes, deck = spread(job, plan, [one.places for one in ways.values()])
    state: dict[str, np.ndarray] = {}
    before: dict[str, np.ndarray] = {}
    for entry in entries:
        name, setup, operation = entry["file"], entry["setup"], entry["name"]
        if name not in programs:
            continue
        if operation == "inserts" and abs(entry["zero"]["z"] - planes[stop - 1]) > GOUGE:
            breach(name, 0, "its zero is not the plane of the planned stop")
        # there Z counts from the form's rise 0
        bed = report["layup"]["bed"] if setup == "D" else 0.0
        top = np.full(len(x), tops[setup])
        if setup in state and not entry.get("combined"):
            top = state[setup].copy()
        if operation == "inserts" and not any(one["name"] == "skim" for one in entries):
            top = np.minimum(top, planes[stop - 1])
        for area in raised if operation == "flush" else []:
            top[sides(x, y, area)[1]] = area["top"]
        before.setdefault(operation, top.copy())
        number = re.search(r"-pass-(\d+)\.nc$", name)
        moves, stops, slow = programs[name]
        # the files of the skim stand for one another; a second cutter's file comes after the first
        earlier = reversed(entries[: entries.index(entry)])
        old = next(
            (one for one in earlier if not one["name"] == operation == "skim"),
            entry,
        )
        if any(entry[key] != old[key] for key in ("zero", "system", "touch")) and not (
            number and int(number[1]) > 1
        ):
            stands = [bed + one["height"] for one in job["obstacle"] if setup in one["setups"]]
            highest = max(
                [*stands, *([] if math.isinf(top.max()) else [top.max()])], default=-math.inf
            )
            first_way(name, moves, slow, entry["zero"], old["zero"], highest)
        moves = [(0 if k < slow else move[0], *move[1:]) for k, move in enumerate(moves)]
        looks = (
            looked_at(name, moves, stops, entry, report["skim"]) if entry.get("combined") else {}
        )
        deepest = bed - job["blank"]["spoil_board"]
        for index in cut(name, moves, entry, deepest, x, y, top, ways[name], looks):
            told(
                name,
                f"plane {looks[index]:.2f}",
                (top - looks[index])[~spared(x, y, entry)],
                -DEPTH,
                DEPTH,
            )
        if operation == "skim":
            plane = planes[int(number[1]) - 1] if number else planes[-1]
            told(name, "skim", (top - plane)[~spared(x, y, entry)], -DEPTH, DEPTH)
        for area in raised if operation == "flush" else []:
            told(name, "flush", (top - area["floor"])[sides(x, y, area)[0]], -DEPTH, DEPTH)
        if not entry.get("combined") and not (number and int(number[1]) > stop):
            state[setup] = top
        last = not any(one["name"] == operation for one in entries[entries.index(entry) + 1 :])
        if last and operation not in ("skim", "flush", "deck", "deck-rough"):
            areas(
                name,
                entry,
                [a for a in plan["areas"] if a["operation"] == operation],
                x,
                y,
                before[operation],
                top,
            )
        if operation in ("deck", "deck-rough"):
            taken = next((one for one in report["deck"].get("cutters", []) if one.get("taken")), {})
            most = (
                job["deck"]["scallop"] + (taken.get("hollow") or 0.0) + 0.02
                if operation == "deck"
                else math.inf
            )
            asked = ~spared(x[nodes], y[nodes], entry) & ~framed(x[nodes], y[nodes], job, -WALL)
            waste = beyond(x[nodes], y[nodes], job, plan, -WALL)
            told(name, operation, (top[nodes] - deck)[asked & ~waste], -GOUGE, most)
            if (asked & waste).any():
                told(name, "waste", (top[nodes] - deck)[asked & waste], -GOUGE, math.inf)
            if (top < before[operation] - DEPTH)[framed(x, y, job, WALL)].any():
                breach(name, 0, "cuts into the frame that is left for clamps")
    print(
        f"{len(found)} breaches in {len(entries)} files of plan {report['plan']}, {len(x)} columns"
    )
    return 1 if found else 0


def head_of(text):
    """Comments of the head in one line each, wrapped ones joined, with a bar between them."""
    lines = []
    for line in text.split("\n"):
        if not (line.startswith("(") and line.rstrip().endswith(")")):
            break
        bare = line.rstrip()[1:-1]
        lines[-1:] = (
            [f"{lines[-1]} {bare.strip()}"]
            if bare.startswith("  ") and lines
            else [*lines[-1:], bare]
        )
    return "|".join(["", *lines, ""])


def words(entry, text, plan, job, name="") -> None:
    """What someone obeys at the machine: the head, and the cutter that messages ask for; nothing of
    a missing file."""
    if not text:
        return
    name, tool, head = name or entry["file"], entry["cutter"], head_of(text)
    again = "allowed" if entry["touch_again"] else "NEVER"
    asked = [f"File: {entry['file']}|", f"Plan: {plan}|"]
    asked += [f"Set-up: {entry['setup']}, operation {entry['order']:02d} {entry['name']}|"]
    asked += [
        f"Touch again: {again}",
        f"Spindle: {entry['rpm']:.0f} rpm",
        "Face up: ",
        "Zero X, Y: ",
    ]
    asked += [f"Cutter: T{tool['number']} {tool['shape']}, "]
    asked += (
        [f"diameter {tool['diameter']:g} mm", f"Zero Z: touch {entry['touch']}|"]
        if job["units"] == "mm"
        else []
    )
    for one in asked:
        if one not in head:
            breach(name, 0, f"its head does not say '{one.rstrip('|')}'")
    if {int(number) for number in re.findall(r"^T(\d+)", text, re.MULTILINE)} != {tool["number"]}:
        breach(name, 0, f"does not call T{tool['number']}, or another cutter besides")
    if {float(speed) for speed in re.findall(r"^S(\d+(?:\.\d+)?)\b", text, re.MULTILINE)} != {
        round(entry["rpm"])
    }:
        breach(name, 0, f"turns at another speed than the {entry['rpm']:.0f} rpm that are planned")
    for said in re.findall(r"\((?:MSG, *Fit|Order:[^()]*?|Cutter:) T(\d+)\b", text):
        if int(said) != tool["number"]:
            breach(name, 0, f"its words ask for T{said}, the plan has T{tool['number']}")


def rehearsal(folder, entry, job, mine, programs) -> None:
    """A walk at the safe height: the planned file, which never turns the spindle, stops before it
    goes on, and shows the dowels, the place where Z is touched and the rectangle that the files of
    its set-up travel."""
    name, machine = entry["file"], job["machine"]
    if not (folder / name).is_file():
        breach(name, 0, "is missing")
        return
    data = (folder / name).read_bytes()
    if hashlib.sha256(data).hexdigest() != entry["sha256"]:
        breach(name, 0, "has changed since it was planned")
    if not mine:
        breach(name, 0, "is of a set-up that has no files")
        return
    text = data.decode("ascii", errors="replace")
    offset, exact = machine.get("length_offset", False), machine.get("exact_path", False)
    moves, stops, _ = read(name, text, 0.0, mine[0]["system"], offset, exact, 0.0, True)
    rapids = [k for k, move in enumerate(moves) if move[0] == 0]
    for k in rapids[:-1]:
        if k not in stops:
            breach(name, moves[k][1], "goes on without a stop to look")
    x0, y0, z0 = (mine[0]["zero"][axis] for axis in "xyz")
    known = [one for one in mine if programs.get(one["file"])]
    safe = max(
        (highest_rapid(programs[one["file"]]) + one["zero"]["z"] for one in known),
        default=-math.inf,
    )
    for k, (kind, line, _, end, *_) in enumerate(moves):
        if not k and kind == 0:
            breach(name, line, "its first way down goes at rapid")
        if not end[2] + z0 > safe - 0.001:
            breach(name, line, f"is not at the safe height, {safe - z0:.3f}")
    for k, axis in enumerate("xyz"):
        met = [move[3][k] for move in moves if move[3][k] == move[3][k]]
        if (
            "extents" in entry
            and met
            and max(map(abs, np.subtract(entry["extents"][axis], (min(met), max(met))))) > 0.001
        ):
            breach(
                name,
                0,
                f"goes from {axis.upper()}{min(met):.3f} to {max(met):.3f}, planned "
                "was another way",
            )
    flip = {"x": (1, -1), "y": (-1, 1)}[machine["flip_about"]] if entry["setup"] == "B" else (1, 1)
    marks = [(0.0, 0.0)] if entry["setup"] == "D" else [one["at"] for one in job["dowel"]]
    if machine.get("touch_at") or machine["z_zero"] == "face":
        marks = [*marks, machine.get("touch_at") or (0.0, 0.0)]
    # two stops with no motion between them: the second shows where the tip stands already
    looks = sorted(stop for stop in stops if stop)
    shown = [moves[k - 1][3] for k in looks[1:]]
    for (x, y), at in zip(marks, [*shown, *[(math.inf, math.inf)] * len(marks)], strict=False):
        if not math.hypot(at[0] + x0 - flip[0] * x, at[1] + y0 - flip[1] * y) <= 0.01:
            breach(name, 0, f"does not show X{flip[0] * x:.2f} Y{flip[1] * y:.2f} where it should")
    first = looks[len(marks)] if len(looks) > len(marks) else len(moves)
    last = next((k for k in rapids if k > first), len(moves))
    walked = [(end[0] + x0, end[1] + y0) for _, _, _, end, *_ in moves[first:last]]
    for k, axis in enumerate("xy"):
        ends = [one["extents"][axis][way] + one["zero"][axis] for one in mine for way in (0, 1)]
        for corner in (min(ends), max(ends)):
            if sum(abs(place[k] - corner) < 0.01 for place in walked) < 2:
                breach(
                    name, 0, f"does not walk along {axis.upper()}{corner:.2f}, where the files end"
                )


def highest_rapid(program):
    """The highest that the rapids of a program go, in its own coordinates."""
    return max(
        (move[3][2] for move in program[0] if move[0] == 0 and move[3][2] == move[3][2]),
        default=-math.inf,
    )


def restart(name, text, entry, of, made) -> None:
    """A restart does what its file does from a line on, and comes there safely."""
    begins = re.search(r"^\(From line (\d+) of the file on:\)$", text, re.MULTILINE)
    if not begins or int(begins[1]) > int(re.search(r"from-(\d+)", name)[1]):
        breach(name, 0, "does not say from which line of its file it goes on, or from a later one")
        return
    (old, _, slow), (new, ways, first) = of, made
    rest = [move for move in old if move[1] >= int(begins[1])]
    lead, tail = new[: len(new) - len(rest)], new[len(new) - len(rest) :]
    if len(new) < len(rest) or not all(
        alike(one, other) for one, other in zip(rest, tail, strict=True)
    ):
        breach(name, 0, f"does not do what the file does from line {begins[1]} on")
        return
    if 0 not in ways:
        breach(name, 0, "does not stop before it moves")
    if slow and (not first or abs(new[first - 1][3][2] - old[slow - 1][3][2]) > 0.001):
        breach(name, 0, "does not stop on its first way down, as its file does")
    if any(move[0] == 0 for move in lead[:first]):
        breach(name, 0, "its first way down goes at rapid")
    if slow and not max(move[5] for move in lead[:first] or [old[0]]) <= 1.01 * max(
        move[5] for move in old[:slow]
    ):
        breach(name, 0, "its first way down goes faster than that of its file")
    safe = highest_rapid(of)
    for kind, line, start, end, _, feed in lead[first:]:
        if kind == 0 and not end[2] >= safe - 0.001:
            breach(name, line, "a rapid below the safe height")
        if kind and (start[:2] != end[:2] or feed > 1.01 * entry["feeds"]["plunge"]):
            breach(name, line, "does not go straight down at the feed of a plunge")
    if sum(move[0] > 0 for move in lead[first:]) > 1:
        breach(name, 0, "cuts more than one way down before it goes on")


def alike(one, other) -> bool:
    """The same motion: its kind, end and curve; of a cut the start and the feed too."""
    pairs = [*zip(one[3], other[3], strict=True), *zip(one[4], other[4], strict=True)]
    if one[0]:
        pairs += [*zip(one[2], other[2], strict=True), (one[5], other[5])]
    return one[0] == other[0] and all(abs(a - b) < 3e-4 or (a != a and b != b) for a, b in pairs)


def digest(job):
    """The plan's name, from job, measured places and record: all keys but the form's number and the
    deck's seal."""
    record = {key: job[key] for key in ("measured", "record") if key in job}
    own = {
        key: value for key, value in job.items() if key not in ("schema", "deck_heights", *record)
    }
    return hashlib.sha256(
        canonical({"job": own, **({"record": record} if record else {})})
    ).hexdigest()[:8]


def canonical(data):
    """JSON with sorted keys and no spaces: what digests are worked out from."""
    return json.dumps(data, sort_keys=True, separators=(",", ":")).encode("ascii")


def text_of(folder, entry, plan):
    """A file's text, once it is known to be the planned one; None where it is missing."""
    name = entry["file"]
    if not (folder / name).is_file():
        breach(name, 0, "is missing")
        return None
    data = (folder / name).read_bytes()
    if hashlib.sha256(data).hexdigest() != entry["sha256"]:
        breach(name, 0, "has changed since it was planned")
    text = data.decode("ascii", errors="replace")
    if f"(Plan: {plan})" not in text:
        breach(name, 0, "is of another plan")
    return text


def spread(job, plan, more):
    """Columns: x, y, which of them are nodes of the deck, and the deck's height there. Sorted by
    x."""
    rng, (length, width) = np.random.default_rng(6), (job["blank"]["length"], job["blank"]["width"])
    chance = (rng.random((12_000, 2)) - 0.5) * (length - 0.2, width - 0.2)
    walls = [beside(area) for area in plan["areas"]]
    held = np.array(plan["deck"]["h"])
    i, j = rng.integers(1, held.shape[0] - 1, 8_000), rng.integers(1, held.shape[1] - 1, 8_000)
    grid = np.column_stack([plan["deck"]["x0"] + i, plan["deck"]["y0"] + j])
    most = np.array([length, width]) / 2 - 0.1
    # a flush may pass the blank
    edges = [places[(np.abs(places) < most).all(axis=1)] for places in (*walls, *more)]
    points = np.vstack([chance, *edges, grid])
    h = np.concatenate([np.full(len(points) - len(grid), math.nan), held[i, j]])
    rows = np.argsort(points[:, 0], kind="stable")
    nodes = ~np.isnan(h[rows])
    return points[rows, 0].copy(), points[rows, 1].copy(), nodes, h[rows][nodes]


def looked_at(name, moves, stops, entry, skim):
    """The file of all passes: the plane that must be there at each stop after a pass, by the motion
    that follows."""
    planes, zero = skim["planes"], entry["zero"]["z"]
    wanted = planes[(skim["first_sight"] or skim["planned_stop"]) - 1 : -1]
    begun = next(
        (
            k
            for k, (kind, _, _, end, *_) in enumerate(moves)
            if kind and end[2] + zero < planes[0] + 1
        ),
        0,
    )
    after = [stop for stop in stops if begun < stop < len(moves)]
    if len(after) != len(wanted):
        breach(
            name, 0, f"stops {len(after)} times to look for the casting, {len(wanted)} are planned"
        )
    return dict(zip(after, wanted, strict=False))


def cut(name, moves, entry, deepest, x, y, top, ways, looks=()):
    """Lower the columns along a file's motions; rapids must lower none, and nothing may come as low
    as `deepest`. Comes back before each motion of `looks`, for whoever wants to see the columns."""
    r, c, side = ways.end
    highest = top.max()
    left = sorted(looks)
    for index, rapid, line, a, b in pieces(
        moves, np.array([entry["zero"][axis] for axis in "xyz"])
    ):
        while left and index >= left[0]:
            yield left.pop(0)
        if min(a[2], b[2]) <= deepest:
            breach(name, line, "passes through the spoil board")
        if min(a[2], b[2]) >= highest or (rapid and math.isinf(highest)):
            continue
        first, last = np.searchsorted(x, (min(a[0], b[0]) - r, max(a[0], b[0]) + r))
        near = first + np.flatnonzero(
            np.abs(y[first:last] - (a[1] + b[1]) / 2) <= abs(a[1] - b[1]) / 2 + r
        )
        z = lowest(x[near], y[near], a, b, r, c, side)
        if not rapid:
            ways.judge(index, a, b, x, y, top, near[z < top[near] - DEPTH], near)
        if rapid and (z < top[near] - GOUGE).any():
            k = near[int(np.argmax(top[near] - z))]
            breach(
                name,
                line,
                f"rapid through material at ({x[k]:.2f}, {y[k]:.2f}), "
                f"{(top[near] - z).max():.2f} deep",
            )
        top[near] = np.minimum(top[near], z)


class Ways:
    """Feeds of one file and its ways down into solid material: how far each motion goes and falls,
    how fast it may.

    Into solid material (within half the radius of the axis) no cutter goes straight down that does
    not cut to its centre, none down a steeper ramp than it takes, and none faster than is planned
    there. The laid-up board of D is not known here: there only the feeds are judged.
    """

    def __init__(self, entry, job, plan, moves):
        tool = next(one for one in job["cutter"] if one["number"] == entry["cutter"]["number"])
        self.name, self.moves, self.radius, self.run = (
            entry["file"],
            moves,
            tool["diameter"] / 2,
            entry["feeds"],
        )
        self.end = end_of({**tool, **entry["cutter"]})  # the diameter as measured
        self.solid = entry["setup"] != "D" and tool["shape"] not in ("ball", "taper")
        self.plunges = tool["centre_cutting"] or tool["shape"] == "drill"
        ramp, h = math.tan(math.radians(tool["ramp_angle"])), np.array(plan["deck"]["h"])
        deck = entry["name"] == "deck-rough"
        slope = np.hypot(np.diff(h, axis=0)[:, 1:], np.diff(h, axis=1)[1:]).max() if deck else 0.0
        self.ramp, self.steep = 0.995 * ramp if deck else 0.0, 1.02 * ramp + slope
        if entry["name"] == "deck":  # its lines go down as the deck does
            self.ramp = self.steep = math.inf
        self.level, self.fall = np.zeros(len(moves)), np.zeros(len(moves))
        for k, (_, _, start, end, (cx, cy, sweep), _) in enumerate(moves):
            round_ = abs(sweep) * math.hypot(start[0] - cx, start[1] - cy)
            self.level[k] = np.nan_to_num(round_ if sweep else math.dist(start[:2], end[:2]))
            self.fall[k] = np.nan_to_num(start[2] - end[2])
        self.reach = self.reachable(job["machine"]["accel"])
        self.done, self.stood = set(), (-1, None)
        self.places = self.look_at(entry)

    def reachable(self, accel):
        """Feed that the machine comes to over each motion's length and round its curve, mm/min."""
        long, radius = np.hypot(self.level, self.fall), np.full(len(self.moves), math.inf)
        for k, (kind, _, start, end, (cx, cy, sweep), _) in enumerate(self.moves):
            if sweep:
                radius[k] = min(radius[k], math.hypot(start[0] - cx, start[1] - cy))
            if k and kind == 1 == self.moves[k - 1][0] and long[k] * long[k - 1] > 0:
                before = self.moves[k - 1]
                dot = sum(
                    (b - a) * (d - c)
                    for a, b, c, d in zip(before[2], before[3], start, end, strict=True)
                )
                turn = (
                    math.acos(min(max(dot / (long[k] * long[k - 1]), -1.0), 1.0))
                    if dot == dot
                    else 0.0
                )
                if turn > 1e-9:
                    both = min(long[k], long[k - 1]) / 2 / math.tan(turn / 2)
                    radius[k - 1], radius[k] = min(radius[k - 1], both), min(radius[k], both)
        return 60 * np.sqrt(accel * np.minimum(radius, 2 * long))

    def look_at(self, entry):
        """Places where more columns are wanted: under the axis of ways straight down, and of steep
        ones."""
        steep = [
            k for k, move in enumerate(self.moves) if move[0] and self.goes_down(k, self.steep)
        ][:400]
        ends = [self.moves[k][3][:2] for k in steep if not np.isnan(self.moves[k][3]).any()]
        zero, r = np.array([entry["zero"]["x"], entry["zero"]["y"]]), self.radius / 3
        about = np.array([(0, 0), (r, 0), (-r, 0), (0, r), (0, -r)])
        return (np.array(ends).reshape(-1, 1, 2) + zero + about).reshape(-1, 2)

    def goes_down(self, k, slope):
        upright = self.level[k] < 1e-6
        return self.fall[k] > 1e-6 and (upright or self.fall[k] > slope * self.level[k] + 0.0003)

    def judge(self, k, a, b, x, y, top, cuts, near):
        """One piece of motion k before it is cut; `cuts` are the columns that it will lower, `near`
        those about it."""
        _, line, _, _, _, feed = self.moves[k]
        upright, falls, run = self.level[k] < 1e-6, self.fall[k] > 1e-6, self.run
        if len(cuts) and k not in self.done:
            self.done.add(k)
            down = run["plunge"] if upright else min(run["ramp"], run["feed"])
            least = min(down if falls else min(run["feed"], run["finish"]), self.reach[k]) / 2
            most = (
                run["plunge"]
                if upright and falls
                else max(run["feed"], run["ramp"], run["plunge"], run["finish"])
            )
            if not 0.99 * least <= feed <= 1.01 * most:
                breach(self.name, line, f"cuts at F{feed:.0f}, planned {least:.0f} to {most:.0f}")
        if not self.solid or -k - 1 in self.done or not self.goes_down(k, self.ramp):
            return
        if self.stood[0] != k:
            self.stood = k, top.copy()
        if not (
            lowest(x[near], y[near], a, b, self.radius / 2, 0.0) < self.stood[1][near] - 0.05
        ).any():
            return
        told = len(found)
        if upright and not self.plunges:
            breach(
                self.name,
                line,
                "straight down into solid material, by a cutter that does not cut to its centre",
            )
        elif not upright and self.goes_down(k, self.steep):
            breach(self.name, line, "down into solid material more steeply than the cutter takes")
        elif not upright and feed > 1.01 * max(run["ramp"], run["plunge"]):
            breach(
                self.name,
                line,
                f"down a ramp into solid material at F{feed:.0f}, planned {run['ramp']:.0f}",
            )
        if len(found) > told:
            self.done.add(-k - 1)


def told(name, what, off, least, most) -> None:
    """Say how far heights are off; a breach where that is more than allowed."""
    if not len(off):
        return
    print(f"{name:26} {what:14} {off.min():+8.3f} to {off.max():+8.3f} mm at {len(off)} columns")
    if not (off.min() >= least and off.max() <= most):
        breach(
            name,
            0,
            f"{what}: {off.min():+.3f} to {off.max():+.3f} mm off, allowed "
            f"{least:+.3f} to {most:+.3f}",
        )


def areas(name, entry, wanted, x, y, before, top) -> None:
    """Floors inside the areas of one operation, and everything else as it was before."""
    floor, outside = np.full(len(x), math.nan), np.ones(len(x), dtype=bool)
    for area in wanted:  # of a hole the seat comes first, then the bore in it
        sure, near = sides(x, y, area)
        if area["kind"] == "kept":
            outside = sure
        else:
            floor[near] = math.nan
            floor[sure] = area["floor"]
            outside &= ~near
    for corner in entry.get("corners", []):  # left round, as the report says
        floor[np.hypot(x - corner["x"], y - corner["y"]) < entry["cutter"]["diameter"]] = math.nan
    floor[spared(x, y, entry)] = math.nan
    if entry["cutter"]["shape"] != "drill":  # the tip of a drill makes no floor
        told(name, "floors, walls", (top - floor)[~np.isnan(floor)], -DEPTH, DEPTH)
    wrong = np.flatnonzero(outside & (top < before - DEPTH))
    if len(wrong):
        k = wrong[int(np.argmin(top[wrong]))]
        breach(name, 0, f"cuts down to {top[k]:.2f} outside its areas, at ({x[k]:.2f}, {y[k]:.2f})")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("python3 docs/verify.py DIR")
    sys.exit(main(Path(sys.argv[1])))
