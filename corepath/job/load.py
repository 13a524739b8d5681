"""From the text of a job file to a checked `Job`, or to all of its faults at once.

Unknown keys are found first and reported with the nearest known key, then left out, so that the
rest is still checked. Every section is checked on its own, so that a fault in one does not hide
those of another. Lengths are converted to mm here, once; messages use the units of the file.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from difflib import get_close_matches
from pathlib import Path as FilePath
from typing import Any

from pydantic import BaseModel, ValidationError

from corepath.errors import Fault, InputError
from corepath.job.kinds import KeyKind, fields_of, kind_at, wanted
from corepath.job.model import Job
from corepath.job.rules.beyond import beyond
from corepath.job.rules.consistency import ValidSections, contradictions
from corepath.job.rules.counts import too_many
from corepath.job.rules.half_converted import half_converted
from corepath.job.stand_ins import fill_bed, fill_hardware, fill_resin, with_stand_ins
from corepath.job.text.positions import Path
from corepath.job.text.reshaping import mirrored
from corepath.job.text.schema import JOB, KEY
from corepath.job.text.shop_file import SHARED, joined
from corepath.job.text.source import Source, key_of, locate, path_of, read_source, value_at
from corepath.lengths import MM_PER_INCH, units_of
from corepath.plain_text import unsafe_letter

__all__ = ["check_source", "fault_of", "load_job", "read_job"]

_WRONG_KIND = frozenset({
    "bool_type", "bool_parsing", "dict_type", "float_parsing", "float_type", "int_from_float",
    "int_parsing",
    "int_type", "list_type", "model_attributes_type", "model_type", "string_type", "tuple_type",
})  # fmt: skip
_COMMA = re.compile(r"[+-]?\d+,\d+")
_LENGTH = re.compile(r"(\d+(?:\.\d+)?) mm\b")
_BOUNDS = frozenset({"greater_than", "greater_than_equal", "less_than", "less_than_equal"})


def load_job(path: FilePath) -> Job:
    """Return the job in this file. Raises `InputError` with all faults."""
    job, faults = read_job(path)
    return _sure(job, faults)


def read_job(path: FilePath) -> tuple[Job | None, list[Fault]]:
    """Read a job file and return the job as far as possible, and all faults in the order of the
    file.

    The job is None only where a needed value is missing or unusable and has no default. With
    unknown keys, contradicting values, or wrong values on which no geometry depends, it is still
    returned, so that the caller can look for more faults and report all of them together.
    """
    source, faults = read_source(path)
    return (None, faults) if source is None else check_source(source)


def _without_shop(faults: Iterable[Fault]) -> list[Fault]:
    """Return faults without those of tables that the shop file, which cannot be used, may hold."""
    return [fault for fault in faults if path_of(fault.key)[:1] not in {(name,) for name in SHARED}]


def _sure(job: Job | None, faults: list[Fault]) -> Job:
    if job is None or faults:
        raise InputError(faults)
    return job


def check_source(source: Source) -> tuple[Job | None, list[Fault]]:
    """Check a document that is already parsed; returns what `read_job` does. The shop file that it
    names is read, unless it is joined with it."""
    source, of_shop = joined(source)
    job, faults = _checked(source)
    if of_shop and source.shop is None and "copy_of" in source.document:
        return None, of_shop
    if of_shop and source.shop is None:
        return None, [*of_shop, *_without_shop(faults)]
    return job, locate([*of_shop, *faults], source)


def _checked(source: Source) -> tuple[Job | None, list[Fault]]:
    document, wrong = JOB.settle(source.document)
    faults: list[Fault] = [] if wrong is None else [wrong]
    if JOB.is_newer(source.document):
        return None, locate(faults, source)
    # Counts come first: what follows takes time for each table, and each place costs geometry.
    crowded = too_many(document)
    if crowded:
        return None, locate([*faults, *crowded], source)
    known = _without_unknown(document, Job, (), faults)
    faults += _unsafe_texts(known, ())
    fill_hardware(known)
    fill_resin(known)
    fill_bed(known)
    inch = known.get("units") == "inch"
    sections = _sections(known, inch, source, faults)
    for path, says, allowed in contradictions(ValidSections(sections)):
        faults.append(Fault(key_of(path), says, allowed=_in_inches(allowed) if inch else allowed))
    # Lengths left in mm are 25 times too large in a job in inches: they are named first, before
    # faults that they cause, and no geometry is made of them.
    mixed = half_converted(sections, known, inch)
    if mixed:
        return None, locate([*mixed, *faults], source)
    enormous = [
        Fault(key_of(path), says, allowed=allowed) for path, says, allowed in beyond(sections)
    ]
    if enormous:  # no geometry can be made of these
        told = {fault.key for fault in faults}
        return None, locate(
            [*faults, *(fault for fault in enormous if fault.key not in told)], source
        )
    # A job with stand-ins is returned beside its faults and never planned: it only lets the caller
    # find faults of geometry in the same run.
    try:
        job = Job.model_validate(with_stand_ins(known, faults), context=_scale(inch))
        if job.board.mirror is not None and not faults:
            turned = mirrored(known, job.board.mirror, units_of(job.units))
            job = Job.model_validate(turned, context=_scale(inch))
    except ValidationError:
        job = None
    return job, locate(faults, source)


def _unsafe_texts(value: Any, path: Path) -> Iterator[Fault]:
    """Yield a fault for each text with a character that could change how it is displayed."""
    if isinstance(value, str):
        letter = unsafe_letter(value)
        if letter:
            says = (
                f"holds {letter}, a control character or one that turns the order of letters round"
            )
            yield Fault(key_of(path), says, allowed="letters that can be seen")
    elif isinstance(value, dict):
        for name, item in value.items():
            yield from _unsafe_texts(item, (*path, name))
    elif isinstance(value, list):
        for place, item in enumerate(value):
            yield from _unsafe_texts(item, (*path, place))


def _in_inches(allowed: str) -> str:
    """Return the text with each length in inches first, as in the file, and its mm in brackets."""
    return _LENGTH.sub(
        lambda found: f"{float(found[1]) / MM_PER_INCH:.4g} inch ({found[1]} mm)", allowed
    )


def _without_unknown(
    table: Mapping[str, Any], model: type[BaseModel], at: Path, faults: list[Fault]
) -> dict[str, Any]:
    """Return a copy of the table without keys that the model does not know; adds a fault for
    each."""
    kinds = fields_of(model)
    known: dict[str, Any] = {}
    for name, value in table.items():
        path = (*at, name)
        if name not in kinds:
            faults.append(_unknown(name, path, (*kinds, KEY) if model is Job else tuple(kinds)))
            continue
        known[name] = _copied(value, kinds[name], path, faults)
    return known


def _copied(value: Any, kind: KeyKind, path: Path, faults: list[Fault]) -> Any:
    if kind.table is not None and isinstance(value, dict):
        return _without_unknown(value, kind.table, path, faults)
    if kind.name == "list" and kind.items and isinstance(value, list):
        return [
            _copied(item, kind.items[0], (*path, place), faults) for place, item in enumerate(value)
        ]
    return value


def _unknown(name: str, path: Path, names: tuple[str, ...]) -> Fault:
    # `Clean-Up` and `clean up` mean clean_up
    by_lower = {known.lower(): known for known in names}
    lowered = name.lower().replace("-", "_").replace(" ", "_")
    near = get_close_matches(lowered, list(by_lower), n=1, cutoff=0.6)
    home = _home_of(lowered, path)
    says = "unknown key"
    # A key that stands in the wrong table is spelled right: its own table comes before what is
    # only spelled like it here. A change of capitals or dashes is a key of this table all the same.
    # The plural of a table is that table: [[dowels]] is no limit that stands at the wrong place.
    plural = len(path) == 1 and lowered.removesuffix("s") in by_lower
    if home and lowered not in by_lower and not plural:
        says += f" here; {lowered} belongs {home}"
    elif near:
        says += f"; did you mean {by_lower[near[0]]}?"
    return Fault(key_of(path), says, allowed=", ".join(names))


def _home_of(name: str, path: Path) -> str:
    """Return in words where a key of this name belongs, or a table; "" where no other table has
    one."""
    homes = []
    for section, kind in fields_of(Job).items():
        table = kind.table or (kind.items[0].table if kind.items else None)
        header = f"[{section}]" if kind.table else f"[[{section}]]"
        if section == name and len(path) > 1:
            alone = "at the top of the file, before the first table"
            return f"in a table of its own, {header}" if table else alone
        if table is not None and name in fields_of(table) and section != path[0]:
            homes.append(header)
    *first, last = homes or [""]
    listed = f"{', '.join(first)} or {last}" if first else last
    return f"under {listed}" if listed else ""


def _scale(inch: bool) -> dict[str, float]:
    """Return what the model needs to know to read lengths: how many mm their unit has."""
    return {"scale": MM_PER_INCH if inch else 1.0}


def _sections(
    known: Mapping[str, Any],
    inch: bool,
    source: Source,
    faults: list[Fault],
) -> dict[str, Any]:
    """Return each section that is valid on its own, by name; of arrays of tables a tuple with None
    in place of each that is not. Adds the faults of the others."""
    sections: dict[str, Any] = {}
    for name, kind in fields_of(Job).items():
        required = Job.model_fields[name].is_required()
        if name not in known:
            if required:
                header = name if kind.table is None and not kind.items else _header(name, kind)
                faults.append(Fault(name, f"{header} is missing", allowed=_needed(kind, inch)))
            elif kind.table is not None or kind.name == "list":
                sections[name] = Job.model_fields[name].get_default(call_default_factory=True)
            continue
        sections[name] = _section(name, kind, known[name], inch, source, faults)
    return sections


def _needed(kind: KeyKind, inch: bool) -> str:
    """Return in words what is wanted; of a table, its required keys."""
    table = kind.table or (kind.items[0].table if kind.items else None)
    if table is None:
        return wanted(kind, inch)
    keys = [name for name, field in table.model_fields.items() if field.is_required()]
    return f"keys {', '.join(keys)}" if keys else f"one of {', '.join(table.model_fields)}"


def _header(name: str, kind: KeyKind) -> str:
    return f"the table [{name}]" if kind.table else f"a table [[{name}]]"


def _section(
    name: str,
    kind: KeyKind,
    value: Any,
    inch: bool,
    source: Source,
    faults: list[Fault],
) -> Any:
    if kind.table is not None:
        return _validated(kind.table, value, (name,), inch, source, faults)
    if kind.name == "list" and kind.items[0].table is not None and isinstance(value, list):
        model = kind.items[0].table
        rows = tuple(
            _validated(model, row, (name, place), inch, source, faults)
            for place, row in enumerate(value)
        )
        least = next(
            (
                item.min_length
                for item in Job.model_fields[name].metadata
                if hasattr(item, "min_length")
            ),
            0,
        )
        if len(rows) < least:
            faults.append(Fault(name, f"at least {least} are needed", value=str(len(rows))))
        return rows
    if kind.name == "list":
        says = f"must be written as tables, each under a header [[{name}]]"
        faults.append(Fault(name, says, allowed=f"[[{name}]]"))
        return ()
    return _validated_scalar(name, kind, value, inch, source, faults)


def _validated_scalar(
    name: str, kind: KeyKind, value: Any, inch: bool, source: Source, faults: list[Fault]
) -> Any:
    if kind.name == "choice" and value not in kind.choices:
        faults.append(Fault(name, "is not one of the choices", allowed=wanted(kind)))
        return None
    if kind.name == "text":
        if not isinstance(value, str):
            faults.append(Fault(name, _what_it_is(value, kind), allowed=wanted(kind)))
            return None
        longest = _longest(name)
        if not 1 <= len(value) <= longest:
            says = "is empty" if not value else f"is {len(value)} characters long"
            faults.append(Fault(name, says, allowed=f"1 to {longest} characters"))
            return None
    return value


def _longest(name: str) -> int:
    """Return how many letters a text at the top of the file may have."""
    metadata = Job.model_fields[name].metadata
    return next(int(one.max_length) for one in metadata if hasattr(one, "max_length"))


def _validated(
    model: type[BaseModel],
    value: Any,
    at: Path,
    inch: bool,
    source: Source,
    faults: list[Fault],
) -> BaseModel | None:
    if not isinstance(value, dict):
        faults.append(
            Fault(
                key_of(at),
                f"must be a table of keys, not {_kind_name(value)}",
                allowed=f"[{at[0]}]",
            )
        )
        return None
    try:
        return model.model_validate(value, context=_scale(inch))
    except ValidationError as error:
        found: dict[str, Fault] = {}
        entries = error.errors(include_url=False)
        for entry in entries:
            loc = entry["loc"]
            if entry["type"] == "too_short" and any(
                other["loc"][: len(loc)] == loc != other["loc"] for other in entries
            ):
                continue  # entries that are wrong themselves were not counted
            fault = fault_of(entry, (*at, *entry["loc"]), inch, source)
            found.setdefault(fault.key, fault)
        faults.extend(found.values())
        return None


def fault_of(entry: Mapping[str, Any], path: Path, inch: bool, source: Source) -> Fault:
    """Return the fault, in our own words, for one entry of pydantic's validation error.

    `path` is where it is in the job, `inch` whether the job is in inches.
    """
    kind = kind_at(path)
    code = str(entry["type"])
    parent = kind_at(path[:-1])
    if code == "missing" and parent is not None and parent.name != "list":
        return Fault(key_of(path), "missing key", allowed=wanted(kind, inch) if kind else "")
    if _is_shape(code, kind, parent):
        return _shape_fault(path, inch, source)
    allowed = wanted(kind, inch) if kind else ""
    held = value_at(source.document, path)[1]
    if code == "finite_number":
        return Fault(key_of(path), "must be a finite number", allowed=allowed)
    if code in _BOUNDS:
        return Fault(key_of(path), _out_of_bounds(held, kind), allowed=allowed)
    if code == "literal_error":
        return Fault(key_of(path), "is not one of the choices", allowed=allowed)
    if code == "too_short":
        count = entry.get("ctx", {}).get("min_length", 1)
        return Fault(key_of(path), f"needs at least {count} entries", allowed=allowed)
    if code == "too_long":
        count = entry.get("ctx", {}).get("max_length", 1)
        return Fault(key_of(path), f"takes at most {count} entries", allowed=allowed)
    if code == "string_too_short":
        return Fault(key_of(path), "must not be empty", allowed=allowed)
    if code == "string_too_long":
        count = entry.get("ctx", {}).get("max_length", 1)
        return Fault(key_of(path), "is too long", allowed=f"at most {count} characters")
    if code == "string_pattern_mismatch":
        return Fault(
            key_of(path),
            "is no short name",
            allowed="a letter, then letters, digits, - or _; 12 at most",
        )
    if code in _WRONG_KIND and kind is not None:
        return Fault(key_of(path), _what_it_is(held, kind), allowed=allowed)
    return Fault(key_of(path), "has a value that is not allowed", allowed=allowed)


def _is_shape(code: str, kind: KeyKind | None, parent: KeyKind | None) -> bool:
    """Return whether the fault is in how lists are nested, not in one value."""
    # A list with fixed places, such as [x, y], reports a short one as missing elements and a long
    # one as too long; both are a wrong shape for whoever typed it.
    if code == "tuple_type":
        return True
    if parent is None or parent.name != "list" or parent.repeated:
        return code == "too_long" and kind is not None and kind.name == "list" and not kind.repeated
    return code == "missing"


def _shape_fault(path: Path, inch: bool, source: Source) -> Fault:
    """Return the fault that names the shape wanted: of the whole key where its outer level is
    wrong, else of the one element."""
    kind = kind_at(path)
    while path and (kind is None or kind.name != "list"):
        path = path[:-1]
        kind = kind_at(path)
    held = value_at(source.document, path)[1]
    # The whole key ends before the first integer, but for one in second place: that is the row of
    # an array of tables, as in plug[2].at, and belongs to the key.
    start = next(
        (count for count, part in enumerate(path) if isinstance(part, int) and count > 1), len(path)
    )
    whole = kind_at(path[:start])
    if not isinstance(held, list) and whole is not None and whole.name == "list":
        path, kind = path[:start], whole
    want = wanted(kind, inch) if kind else ""
    says = f"has the wrong shape: {want} is wanted"
    if _decimal_comma(path, source):
        says += "; is there a decimal comma? A number takes a point"
    return Fault(key_of(path), says, allowed=want)


def _decimal_comma(path: Path, source: Source) -> bool:
    """Whether the line of a key has digits on both sides of a comma: 10,5 in a list is two
    numbers."""
    found = source.position(key_of(path))
    lines = source.text.split("\n")
    return (
        found is not None
        and found.line <= len(lines)
        and re.search(r"\d,\d", lines[found.line - 1]) is not None
    )


def _out_of_bounds(held: Any, kind: KeyKind | None) -> str:
    if isinstance(held, (int, float)) and kind is not None and (kind.gt == 0 or kind.ge == 0):
        if held < 0:
            return "must not be negative"
        if held == 0:
            return "must not be zero"
    return "is out of bounds"


def _kind_name(value: Any) -> str:
    if isinstance(value, bool):
        return "true or false"
    names = (
        (str, "text"),
        (int, "a number"),
        (float, "a number"),
        (list, "a list"),
        (dict, "a table"),
    )
    return next((name for kind, name in names if isinstance(value, kind)), "a date or time")


def _what_it_is(value: Any, kind: KeyKind) -> str:
    if kind.name == "whole number" and isinstance(value, float):
        return "must be a whole number, written without a point"
    want = {
        "number": "a number",
        "whole number": "a whole number",
        "text": "text",
        "flag": "true or false",
    }
    wish = want.get(kind.name, wanted(kind))
    if isinstance(value, str) and kind.name == "number" and _COMMA.fullmatch(value.strip()):
        point = value.strip().replace(",", ".")
        return f"must be {wish}, not text: write {point}, with a point and without quotes"
    if isinstance(value, str) and kind.name in ("number", "whole number"):
        return f"must be {wish}, not text: write it without quotes"
    return f"must be {wish}, not {_kind_name(value)}"
