"""The process that works out what a job's text becomes: one question a line comes in, answers go
out as lines of JSON, the quick ones first.

Of questions that wait only the newest is answered. Odds and fixes, which take seconds, are looked
for by a copy of this process, which is ended at the next question; where processes cannot be
copied, they are looked for here, and a question waits.
"""

from __future__ import annotations

import json
import os
import select
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, BinaryIO

from corepath.editing import seen
from corepath.editing.changing import changed
from corepath.editing.handles import handles
from corepath.editing.turning import State, TurnWay, turns
from corepath.errors import CorepathError, Fault, InputError
from corepath.job.text.shop_file import joined
from corepath.job.text.source import Source, parse
from corepath.lengths import MM, units_of
from corepath.memory import settle_memory
from corepath.planning.engine import Engine
from corepath.planning.fixing.search import find_fixes
from corepath.planning.prepare import Prepared
from corepath.planning.side_by_side import usable_cores
from corepath.stackup.odds.odds import draw_odds
from corepath.stackup.odds.outcome import answer_of

__all__ = ["Workshop", "main"]

Answer = dict[str, Any]
Question = dict[str, Any]


class Workshop:
    """Answers questions about the job at `path`, whose text comes with each question."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._engine = Engine(path.parent, usable_cores())
        self._text = ""
        self._last: tuple[Source, Prepared] | None = None

    def answers(self, asked: Question) -> Iterator[Answer]:
        """Yield the quick answers: the verdict or the faults, then the drawings."""
        try:
            prepared = self._prepared(asked["kind"], asked["text"])
        except InputError as error:
            units = units_of(_units_name(asked["text"]))
            yield {"kind": "faults", "faults": seen.faults(error.faults, units)}
            return
        if asked["kind"] == "cross":
            drawn = seen.cross(prepared, asked["narrow"], asked["at"])
            yield {"kind": "cross", "cross": drawn, "handles": self._handles(prepared, asked)}
            return
        yield {"kind": "verdict", **seen.verdict(prepared)}
        yield {
            "kind": "drawings",
            "drawings": seen.drawings(prepared, asked["wide"], asked["narrow"], asked["at"]),
            "handles": self._handles(prepared, asked),
        }

    def _handles(self, prepared: Prepared, asked: Question) -> list[dict[str, Any]]:
        assert self._last is not None
        return handles(self._last[0], seen.scene_of(prepared), asked["at"])

    def slow_answers(self) -> Iterator[Answer]:
        """Yield the odds of the job that was asked for last, then its fixes."""
        if self._last is None:
            return
        prepared = self._last[1]
        found = prepared.odds or draw_odds(prepared.stackup, prepared.board)
        yield {"kind": "odds", **seen.odds(found)}
        if answer_of(prepared.checks) != "ready":
            yield {"kind": "fixes", **seen.fixes(find_fixes(prepared), prepared.job.units)}

    def turns(self, asked: Question) -> Iterator[Answer]:
        """Yield where along the ways of a handle the verdict would turn."""
        self._engine.alone()  # this is a copy: the other cores are for what is asked meanwhile

        def found(key: str, value: str) -> State:
            try:
                prepared = self._prepared("draft", changed(asked["text"], {key: value}))
            except InputError:
                return "faults", ("this cannot be",)
            wrong = (check.id for check in prepared.checks if check.verdict != "ok")
            return answer_of(prepared.checks, prepared.accepted), tuple(dict.fromkeys(wrong))

        ways = [TurnWay(way["key"], way["now"], way["step"]) for way in asked["ways"]]
        for turn in turns(ways, found):
            yield {"kind": "turn", **turn}

    def _prepared(self, kind: str, text: str) -> Prepared:
        """Return the job of a text, worked out up to its checks; raises InputError with all
        faults, placed in the text."""
        if kind == "cross" and self._last is not None and self._text == text:
            return self._last[1]
        source, faults = parse(text, str(self._path))
        if source is None:
            raise InputError(faults)
        prepared = self._engine.prepared_source(source, self._path)
        self._text, self._last = text, (joined(source)[0], prepared)
        return prepared


def _units_name(text: str) -> str:
    source, _ = parse(text, "")
    name = "mm" if source is None else source.document.get("units", "mm")
    return name if name in ("mm", "inch") else "mm"


def guarded(make: Callable[[], Iterator[Answer]]) -> Iterator[Answer]:
    """Yield what `make` yields; an error that is no fault of the job is told as one of our own."""
    try:
        yield from make()
    except CorepathError as error:
        yield {"kind": "faults", "faults": seen.faults([Fault("", str(error))], MM)}
    except Exception as error:
        says = f"corepath itself went wrong ({type(error).__name__}: {error})"
        yield {"kind": "faults", "faults": seen.faults([Fault("", says)], MM)}


class _Copy:
    """A copy of this process that answers a question which takes long, its number `asked`, and
    the pipe that it answers by."""

    def __init__(self, answers: Callable[[], Iterator[Answer]], asked: int) -> None:
        self.asked = asked
        self.pipe, end = os.pipe()
        self._held = b""
        self._number = os.fork()
        if self._number == 0:
            with suppress(BaseException):
                os.close(self.pipe)
                signal.signal(signal.SIGTERM, signal.SIG_DFL)
                os.nice(5)  # whoever types goes first
                for answer in guarded(answers):
                    os.write(end, _line(answer))
            os._exit(0)
        os.close(end)

    def lines(self) -> tuple[list[bytes], bool]:
        """Return the whole lines that have come, and whether more may come."""
        block = os.read(self.pipe, 2**16)
        *lines, self._held = (self._held + block).split(b"\n")
        return lines, bool(block)

    def end(self) -> None:
        """End it: what it has not said yet is dropped."""
        os.kill(self._number, signal.SIGKILL)
        os.waitpid(self._number, 0)
        os.close(self.pipe)


def _line(answer: Answer) -> bytes:
    return json.dumps(answer, ensure_ascii=False).encode("utf-8") + b"\n"


class _Loop:
    """Reads questions, writes answers. Copies that look on are kept by what they look for."""

    def __init__(self, workshop: Workshop, inlet: BinaryIO, outlet: BinaryIO) -> None:
        self._workshop = workshop
        self._inlet, self._outlet = inlet.fileno(), outlet
        self._held = b""
        self._copies: dict[str, _Copy] = {}

    def run(self) -> None:
        while True:
            pipes = {copy.pipe: name for name, copy in self._copies.items()}
            ready, _, _ = select.select([self._inlet, *pipes], [], [])
            for pipe in ready:
                if pipe != self._inlet:
                    self._forward(pipes[pipe])
            if self._inlet in ready and not self._take():
                for name in tuple(self._copies):
                    self._drop(name)
                return

    def _take(self) -> bool:
        """Answer the newest questions that have come; return whether more may come."""
        lines: list[bytes] = []
        while select.select([self._inlet], [], [], 0)[0]:
            block = os.read(self._inlet, 2**20)
            if not block:
                return False
            *more, self._held = (self._held + block).split(b"\n")
            lines += more
        for asked in _newest(lines):
            self._answer(asked)
        return True

    def _answer(self, asked: Question) -> None:
        if asked["kind"] == "turn":
            self._look_on("turn", asked, lambda: self._workshop.turns(asked))
            return
        slow = asked["kind"] == "job"
        if asked["kind"] != "cross":
            self._drop("slow")
        for answer in guarded(lambda: self._workshop.answers(asked)):
            self._say({**answer, "number": asked["number"]})
            slow = slow and answer["kind"] != "faults"
        if slow:
            self._drop("turn")
            self._look_on("slow", asked, self._workshop.slow_answers)

    def _look_on(self, name: str, asked: Question, answers: Callable[[], Iterator[Answer]]) -> None:
        self._drop(name)
        if hasattr(os, "fork"):
            self._copies[name] = _Copy(answers, asked["number"])
            return
        if name == "slow":  # where nothing turns is worth no wait
            for answer in guarded(answers):
                self._say({**answer, "number": asked["number"]})

    def _forward(self, name: str) -> None:
        copy = self._copies[name]
        lines, more = copy.lines()
        for line in lines:
            self._say({**json.loads(line), "number": copy.asked})
        if not more:
            self._drop(name)

    def _drop(self, name: str) -> None:
        copy = self._copies.pop(name, None)
        if copy is not None:
            copy.end()

    def _say(self, answer: Answer) -> None:
        self._outlet.write(_line(answer))
        self._outlet.flush()


def _newest(lines: list[bytes]) -> list[Question]:
    """Return the newest question about the job, the newest about a cross section and the newest
    about turns, in the order in which they came."""
    asked = [json.loads(line) for line in lines]
    newest = {one["kind"] if one["kind"] in ("cross", "turn") else "job": one for one in asked}
    return sorted(newest.values(), key=lambda one: int(one["number"]))


def main() -> None:
    """Run as `python -m corepath.editing.workshop JOB.toml` until the questions end."""
    settle_memory()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which ends this
    outlet = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nobody else may write among the answers
    _Loop(Workshop(Path(sys.argv[1])), sys.stdin.buffer, outlet).run()


if __name__ == "__main__":
    main()
