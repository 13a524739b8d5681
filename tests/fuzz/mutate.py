"""Seeded changes of bytes: what a bad cable, a wrong editor, a careless hand or a hostile one does
to a file."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence

__all__ = ["mutated"]

LONGEST = 4 * 2**20
"""bytes of a changed file; longer ones only cost time."""

_NUMBER = re.compile(rb"[-+]?[0-9]+\.?[0-9]*(?:[eE][-+]?[0-9]+)?")
NASTY_NUMBERS = (
    b"0", b"-1", b"-0.0", b"1e308", b"-1e308", b"1e-308", b"1e-9", b"nan", b"inf", b"-inf",
    b"4294967295",
    b"2147483648", b"9223372036854775808", b"99999999999999999999999999", b"1e5", b"1000000",
    b"0x7f",
    b"1_0", b".", b"1..2", b"",
    b"1e", b"007", b"0.00000000000000000001", b"1" * 400, b"3" * 5000,
)  # fmt: skip
NASTY_TEXT = (
    b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\r", b"\r\n", b"\n\n", b"\t", b"\x1a",
    b"\x7f", b"\\",
    b'"', b"'''", b'"""', b"[" * 2000, b"]" * 50, b"{" * 300, b"a=[" * 60, b"(" * 300, b")", b"%",
    b"#", b"=", b",",
    b";", b"../../../etc/passwd", b"/dev/zero", b"/dev/stdin", b"${HOME}", b"$(id)",
    b"__import__('os')", b"\xc2\xa0",
    b"\x1b[2J\x1b[31m", b"\x1b]0;title\x07", b"\xc2\x9b1A", b"\x08\x08",
    "\u202e".encode(), "\u00e9".encode(), b"e\xcc\x81" * 40, b"A" * 100_000, b"\n" * 20_000,
    b" " * 70_000,
)  # fmt: skip

Change = Callable[[bytes, random.Random, Sequence[bytes]], bytes]


def mutated(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """`data` with one to six changes; `others` are files of the same kind, of which pieces may be
    taken."""
    for _ in range(rng.choice((1, 1, 1, 2, 2, 3, 6))):
        data = rng.choice(_CHANGES)(data, rng, others)[:LONGEST]
    return data


def _span(data: bytes, rng: random.Random, most: int = 400) -> tuple[int, int]:
    start = rng.randrange(len(data) + 1)
    return start, min(len(data), start + rng.randrange(1, most))


def _bits(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    changed = bytearray(data or b"\0")
    for _ in range(rng.choice((1, 1, 4, 32))):
        changed[rng.randrange(len(changed))] ^= 1 << rng.randrange(8)
    return bytes(changed)


def _cut_out(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    start, end = _span(data, rng)
    return data[:start] + data[end:]


def _cut_short(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def _again(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    start, end = _span(data, rng)
    return data[:end] + data[start:end] * rng.choice((1, 2, 50, 2000)) + data[end:]


def _stray(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    start = rng.randrange(len(data) + 1)
    return data[:start] + rng.randbytes(rng.randrange(1, 60)) + data[start:]


def _nasty(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    start, end = _span(data, rng, 20)
    return data[:start] + rng.choice(NASTY_TEXT) + data[rng.choice((start, end)) :]


def _number(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    start = rng.randrange(len(data) + 1)
    found = _NUMBER.search(data, start) or _NUMBER.search(data)
    if found is None:
        return data + rng.choice(NASTY_NUMBERS)
    return data[: found.start()] + rng.choice(NASTY_NUMBERS) + data[found.end() :]


def _lines(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    lines = data.split(b"\n")
    a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
    how = rng.randrange(3)
    if how == 0:
        lines[a], lines[b] = lines[b], lines[a]
    elif how == 1:
        del lines[a]
    else:
        lines.insert(b, lines[a])
    return b"\n".join(lines)


def _splice(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    other = rng.choice(others)
    start, end = _span(other, rng, 2000)
    at = rng.randrange(len(data) + 1)
    return data[:at] + other[start:end] + data[at:]


_CHANGES: tuple[Change, ...] = (
    _bits, _cut_out, _cut_short, _again, _stray, _nasty, _number, _number, _number, _lines, _splice,
)  # fmt: skip
