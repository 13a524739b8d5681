"""Faults drawn by rule, operation and place over the planned coupon; the verdict of the stamping
loop, and the finding.

A fault must be found where it changes what the file leaves, or what stands at one of its stops (by
more than 0.1 mm in height, walls by more than a lattice cell), or where it breaches a rule of
safety: a rapid through material, a cut with the spindle off or not up to speed, backwards or at
another speed, a feed above the planned or far below it, a way into solid wood that the cutter does
not take, another cutter, a stop or the end lost, a mode not stated. The read-back gets the texts
alone: no hashes, no line counts.
"""

from __future__ import annotations

import json
import math
import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from scipy.ndimage import maximum_filter, minimum_filter

from corepath.caching.folder_store import store_of
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.planning.folder.plan_seal import DESIGN, check_design
from corepath.planning.plan import plan
from corepath.planning.prepare import Prepared, prepare
from corepath.planning.proving.reading import shop_of
from corepath.planning.proving.reading_cases import try_cases, with_cases
from corepath.planning.restart.restart_program import Restart
from corepath.readback.measure import read_back
from corepath.readback.plan_files import PlanFiles
from tests.faults.beside import EXACT_RULES, REHEARSAL_RULES, RESTART_RULES, Beside
from tests.faults.rules import (
    DESIGN_RULES,
    FILE_RULES,
    FIRST_WAY,
    LOOK_RULES,
    ONLY_IN,
    RULES,
    STANDING_RULES,
    WORD_RULES,
    Rule,
)
from tests.faults.stamp import Cutter, Ran, run

__all__ = ["EVERY_RULE", "HARM_BY_RULE", "Bench", "Fault", "Verdict"]

HARM_BY_RULE = (
    *WORD_RULES, *LOOK_RULES, *STANDING_RULES, *FILE_RULES, *DESIGN_RULES, *EXACT_RULES,
    *REHEARSAL_RULES, *RESTART_RULES
)  # fmt: skip
"""Rules whose every fault must be found: what they spoil is read by people, or is no cut."""

EVERY_RULE = (*RULES, *HARM_BY_RULE)

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "coupon.toml"
LIMIT = 0.1

Zero = tuple[float, float, float]


@dataclass(frozen=True)
class Fault:
    """A spoiled set of texts: `file` is the one that was changed. Of a restart `made` is the good
    one."""

    rule: str
    seed: int
    file: str
    texts: dict[str, str]
    made: Restart | None = None


@dataclass(frozen=True)
class Verdict:
    """Why a fault must be found ("" where it need not be), and the kinds of finding that the
    read-back gave."""

    fault: Fault
    must: str
    kinds: tuple[str, ...]

    @property
    def missed(self) -> bool:
        return bool(self.must) and not self.kinds


class Bench:
    """The coupon, planned once, what each of its files does, and faults over it."""

    def __init__(self) -> None:
        made = plan(prepare(SAMPLE), store=store_of())
        assert not made.failed
        self.prepared: Prepared = made.prepared
        self.texts = {
            name: str(text)
            for name, text in made.files.items()
            if name.endswith(".nc") and "/" not in name
        }
        self.design = {
            name: str(made.files[name])
            for name in (*DESIGN, "report.json", "sheet.html", "overview.svg")
        }
        self.report = json.loads(self.design["report.json"])
        self.beside = Beside(made)
        self.read = {name: read_program(text, name) for name, text in self.texts.items()}
        self.entries: dict[str, dict[str, Any]] = {
            entry["file"]: entry for entry in made.report["operations"]
        }
        self.stop = int(made.report["skim"]["planned_stop"])
        job = self.prepared.job
        self.size = (job.blank.length, job.blank.width)
        self.cutters = {
            one.number: Cutter(
                one.diameter,
                one.diameter / 2 if one.shape == "ball" else one.corner_radius or 0.0,
                one.centre_cutting or one.shape in ("ball", "drill"),
                math.inf if one.shape == "ball" else math.tan(math.radians(one.ramp_angle)),
            )
            for one in job.cutter
        }

    @cached_property
    def good(self) -> dict[str, tuple[np.ndarray, Ran]]:
        """By file: the heights it starts from, and what it does."""
        out: dict[str, tuple[np.ndarray, Ran]] = {}
        shape = tuple(round(side / 0.25) for side in reversed(self.size))
        thick, planes = self.prepared.job.blank.thickness, self.prepared.stackup.skim.planes
        top = {
            "A": np.full(shape, thick),
            "B": np.full(shape, thick),
            "C": np.full(shape, planes[self.stop - 1]),
        }
        for name in sorted(self.texts):
            entry = self.entries[name]
            start = np.full(shape, thick) if entry.get("combined") else top[entry["setup"]]
            if entry["name"] == "inserts":
                start = np.full(shape, planes[self.stop - 1])
            ran = run(self.texts[name], start, self.size, self.zero(name), self.cutters)
            out[name] = start, ran
            if not entry.get("combined"):
                top[entry["setup"]] = ran.heights
        return out

    def zero(self, name: str) -> Zero:
        zero = self.entries[name]["zero"]
        return zero["x"], zero["y"], zero["z"]

    def draw(self, rule: str, seed: int, setups: str = "ABC") -> Fault | None:
        """A fault of a rule, drawn from the seed; None where the file drawn has no place for it."""
        draw = np.random.default_rng([seed, zlib.crc32(rule.encode())])
        names = sorted(name for name in self.texts if self.entries[name]["setup"] in setups)
        if rule in DESIGN_RULES:
            of, change = DESIGN_RULES[rule]
            spoiled = change(self.design[of].split("\n"), draw)
            return (
                None
                if spoiled is None
                else Fault(rule, seed, names[0], {**self.texts, of: "\n".join(spoiled)})
            )
        if rule in REHEARSAL_RULES:
            name, text = self.beside.walk(draw)
            return _spoiled(rule, seed, name, {}, text, REHEARSAL_RULES[rule], draw)
        if rule in RESTART_RULES:
            made = self.beside.restarted(draw)
            fault = _spoiled(rule, seed, made.file, {}, made.text, RESTART_RULES[rule], draw)
            return fault and replace(fault, made=made)
        if rule in ONLY_IN:
            names = [name for name in names if re.search(ONLY_IN[rule], name)] or names
        if rule.startswith(("first way", "words: tip", "words: other height")):
            names = [name for name in names if FIRST_WAY.search(self.texts[name])] or names
        name = str(draw.choice(names))
        texts = dict(self.texts)
        if rule in FILE_RULES:
            others = [
                other for other in names if other != name and self.entries[other]["name"] != "skim"
            ]
            other = str(draw.choice(others))
            if rule == "file missing":
                del texts[name]
            elif rule == "files exchanged":
                texts[name], texts[other] = texts[other], texts[name]
            else:
                texts[name] = texts[name].replace(f"Plan: {self.prepared.digest}", "Plan: 0badc0de")
            return Fault(rule, seed, name, texts)
        if rule in EXACT_RULES:
            texts = {one: text.replace("\nG64\n", "\nG61\n") for one, text in texts.items()}
        change = {**RULES, **WORD_RULES, **LOOK_RULES, **STANDING_RULES, **EXACT_RULES}[rule]
        return _spoiled(rule, seed, name, texts, texts[name], change, draw)

    def judge(self, fault: Fault) -> Verdict:
        """The stamping loop's verdict, and what the read-back finds."""
        return Verdict(fault, self.must(fault), self.kinds(fault))

    def kinds(self, fault: Fault) -> tuple[str, ...]:
        """Kinds of finding that the read-back gives."""
        if fault.made is not None:
            return self.beside.restart_kinds(fault.made, fault.texts[fault.file])
        if fault.rule in REHEARSAL_RULES:
            return self.beside.walk_kinds(fault.file, fault.texts[fault.file])
        prepared = self.beside.exact if fault.rule in EXACT_RULES else self.prepared
        return self.found(fault.texts, fault.file, prepared)

    def found(
        self, texts: Mapping[str, str], name: str, prepared: Prepared | None = None
    ) -> tuple[str, ...]:
        """Kinds of finding; set-ups after that of the file are left out, but where files are mixed
        up.

        Other stops and blanks are tried only where nothing is found without them.
        """
        spoiled = {of: text for of, text in texts.items() if of in self.design}
        if spoiled:
            return self._found_in_design({**self.design, **spoiled})
        prepared = prepared or self.prepared
        setup = self.entries[name]["setup"]
        mixed = set(texts) != set(self.texts) or sum(texts[n] != self.texts[n] for n in texts) > 1
        wanted = "ABC" if mixed and prepared is self.prepared else "ABC"[: "ABC".index(setup) + 1]
        works = tuple(work for work in prepared.works if work.setup in wanted)
        some = {n: text for n, text in texts.items() if self.entries[n]["setup"] in wanted}
        read = {n: program for n, program in self.read.items() if some.get(n) == self.texts[n]}
        shop = shop_of(prepared)
        files = PlanFiles(some, programs=read)
        back = read_back(shop, works, files)
        if not back.counts:
            some_works = replace(prepared, works=works)
            back = with_cases(some_works, shop, back, try_cases(some_works, shop, files))
        return tuple(back.counts)

    def _found_in_design(self, design: Mapping[str, str]) -> tuple[str, ...]:
        """Kinds of finding of a folder whose design was changed, the hashes not."""
        findings = Findings()
        content = {name: text.encode() for name, text in design.items()}
        job, report = (json.loads(design[name]) for name in ("job.resolved.json", "report.json"))
        check_design(job, report, content, findings)
        return findings.kinds

    def must(self, fault: Fault) -> str:
        """Why the fault must be found; "" where it changes nothing that matters."""
        if fault.rule in HARM_BY_RULE:
            return fault.rule
        start, good = self.good[fault.file]
        try:
            ran = run(
                fault.texts[fault.file], start, self.size, self.zero(fault.file), self.cutters
            )
        except ValueError as error:
            return f"cannot be read ({error})"
        return _breach(good, ran) or self._other_part(fault.file, good, ran)

    def _other_part(self, name: str, good: Ran, ran: Ran) -> str:
        """Roughing is judged by what the deck's own file makes of it."""
        if self.entries[name]["name"] != "deck-rough":
            seen = zip([*good.at_stops, good.heights], [*ran.at_stops, ran.heights], strict=False)
            return next((told for one, other in seen if (told := _other_shape(one, other))), "")
        last = next(other for other, entry in self.entries.items() if entry["name"] == "deck")
        after = run(self.texts[last], ran.heights, self.size, self.zero(last), self.cutters)
        return _other_shape(self.good[last][1].heights, after.heights)


def _spoiled(
    rule: str,
    seed: int,
    name: str,
    texts: Mapping[str, str],
    text: str,
    change: Rule,
    draw: np.random.Generator,
) -> Fault | None:
    """A text changed by a rule, among `texts`; None where the rule finds no place in it."""
    lines = text.rstrip("\n").split("\n")
    spoiled = change(lines, draw)
    if spoiled is None or spoiled == lines:
        return None
    return Fault(rule, seed, name, {**texts, name: "\n".join(spoiled) + "\n"})


def _breach(good: Ran, ran: Ran) -> str:
    """The first rule of safety that is broken now and was not before."""
    rules = (
        ("a rapid through material", ran.rapid_cut > max(good.rapid_cut, 0.0) + LIMIT),
        ("a cut with the spindle off", ran.idle_cut > 0.01),
        ("another speed", ran.speeds != good.speeds),
        ("backwards", ran.backwards),
        ("not up to speed", good.dwelt and not ran.dwelt),
        ("another cutter", ran.tools != good.tools),
        ("a faster feed", ran.fastest > 1.02 * good.fastest),
        ("a faster way down", ran.fastest_down > 1.02 * good.fastest_down),
        ("a cut that rubs", ran.slowest < 0.4 * good.slowest),
        ("straight down into solid wood", ran.plunged > good.plunged + LIMIT),
        ("steeper into solid wood", ran.steepest > good.steepest + 0.02),
        ("lower than ever", ran.lowest < good.lowest - LIMIT),
        ("a stop lost", ran.stops < good.stops),
        ("a stop that is low or turning", ran.least_clear < good.least_clear - LIMIT),
        ("a first way down at rapid", good.first_at_feed and not ran.first_at_feed),
        ("no end", not ran.ended),
        (
            "not stated: " + ", ".join(sorted(good.stated - ran.stated)),
            not good.stated <= ran.stated,
        ),
    )
    return next((name for name, broken in rules if broken), "")


def _other_shape(good: np.ndarray, ran: np.ndarray) -> str:
    """Heights beyond those of the good map within a cell, by more than the limit."""
    high, low = maximum_filter(good, 3), minimum_filter(good, 3)
    off = np.maximum(ran - high, low - ran)
    if off.max() <= LIMIT:
        return ""
    j, i = np.unravel_index(int(off.argmax()), off.shape)
    return (
        f"heights off by {min(float(off[j, i]), 99.0):.2f}"
        if math.isfinite(off.max())
        else "heights lost"
    )
