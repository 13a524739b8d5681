"""What joins one sitting, the workshop and the open pages: messages of pages come in, and what is
new goes to all of them.

One change at a time: it is worked out first, and written where it has no faults that were not there
before. A change that was made from another text than the file's is asked about.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

from corepath.editing.bench import Bench
from corepath.editing.changing import changed, require_readable, with_new_row, without
from corepath.editing.forms import forms
from corepath.editing.inputs import inputs_of
from corepath.editing.plans.plan_run import PlanRun
from corepath.editing.seen import faults as faults_told
from corepath.editing.session import ChangedOutsideError, Session
from corepath.editing.watched import Contents, changes_of
from corepath.errors import CorepathError, Fault, InputError
from corepath.job.text.removing import inserted
from corepath.job.text.source import path_of
from corepath.lengths import MM

__all__ = ["Desk", "Plans"]

Message = dict[str, Any]
Send = Callable[[Message], None]
_WIDE, _NARROW = 220.0, 110.0
"""Widths of drawings before a page has said its own, mm."""

_CHANGES = ("set", "remove", "insert", "add")


class Plans(Protocol):
    """Whoever makes the plans of a sitting, into `folder`."""

    folder: Path

    def connect(self, told: Send) -> None:
        """Have `told` hear how far a plan is, in the event loop that calls this."""

    def start(self) -> None:
        """Begin a plan."""

    async def stop(self) -> None:
        """Give it up; the folder keeps the last one."""


class Desk:
    """One sitting with the job at `path`; `pages` are the functions that send to each open page.

    `plans` makes a plan where a page asks for it; or, with `always`, at once and after each change.
    """

    def __init__(self, path: Path, plans: Plans | None = None, always: bool = False) -> None:
        self.session = Session(path)
        self.pages: set[Send] = set()
        self.followers: set[Send] = set()
        """The functions that send to each open page of a plan."""
        self._bench = Bench(path, self._answered)
        self._contents = Contents(lambda: inputs_of(path))
        self.plan = plans or PlanRun(path, Path(f"{path.stem}-plan"))
        self._always = always
        self.plans_made, self._last_plan = 0, ""
        self._view = {"wide": _WIDE, "narrow": _NARROW, "at": 0.0}
        self._held: dict[str, Message] = {}
        """The last message of each kind, for a page that opens."""
        self._asked, self._draft = 0, False
        self._faulty = False
        self._outside = 0
        """The revision of the last text that somebody else wrote."""
        self._waiting: asyncio.Future[Message] | None = None
        self._turn = asyncio.Lock()
        self._watch: asyncio.Task[None] | None = None

    @property
    def workshop_number(self) -> int | None:
        """Number of the workshop's process; None before it runs."""
        return self._bench.number

    @property
    def is_working(self) -> bool:
        """Whether a change is being worked out."""
        return self._waiting is not None

    async def open(self) -> None:
        """Begin to work the job out and to watch its files."""
        self.plan.connect(self._planned)
        if self._always:
            self.plan.start()  # and nothing else until a page wants it
        else:
            await self._ask("job", self.session.text)
        self._watch = asyncio.create_task(self._watching())

    async def close(self) -> None:
        """End the workshop and the watch."""
        if self._watch is not None:
            self._watch.cancel()
            with suppress(asyncio.CancelledError):
                await self._watch
        await self.plan.stop()
        await self._bench.close()

    def welcome(self, send: Send) -> None:
        """Send all that is known to a page that opens, and what follows from now on."""
        self.pages.add(send)
        send(self._job())
        for message in self._held.values():
            send(message)

    def follow(self, send: Send) -> None:
        """Send how far plans are, from now on, to a page of a plan."""
        self.followers.add(send)
        if "plan" in self._held:
            send(self._held["plan"])

    async def heard(self, message: Message, reply: Send) -> None:
        """Do what a page asks for; what concerns it alone is replied to it."""
        kind = message.get("kind")
        if kind == "view":
            await self._seen_as(message)
        elif kind == "cut":
            self._view["at"] = float(message["at"])
            await self._bench.ask("cross", text=self.session.text, **self._view)
        elif kind == "turn":
            await self._bench.ask("turn", text=self.session.text, ways=list(message["ways"]))
        elif kind == "plan":
            self.plan.start()
        elif kind == "stop":
            await self.plan.stop()
        elif kind == "draft":
            await self._tried(message, reply)
        elif kind in _CHANGES:
            async with self._turn:
                await self._change(message, reply)
        elif kind in ("undo", "redo"):
            async with self._turn:
                await self._back(message, reply)

    async def _seen_as(self, message: Message) -> None:
        """Draw for a page of this width."""
        wanted = {name: min(max(float(message[name]), 60.0), 600.0) for name in ("wide", "narrow")}
        new = any(abs(self._view[name] - wanted[name]) > 1.0 for name in wanted)
        if new or not self._asked:
            async with self._turn:  # a change that is worked out waits for its own answer
                self._view.update(wanted)
                await self._ask("job", self.session.text)

    async def _tried(self, message: Message, reply: Send) -> None:
        """Work out values that are dragged; without any, the file as it is."""
        if self._turn.locked():
            return  # a change is on its way: its own result follows
        values = _texts(message["values"])
        try:
            require_readable(self.session.text)
            text = (
                changed(self.session.text, values, self.session.path)
                if values
                else self.session.text
            )
        except InputError as error:
            told = faults_told(error.faults, MM)
            reply({"kind": "faults", "draft": True, "faults": told})
            return
        await self._ask("draft" if values else "job", text)

    async def _change(self, message: Message, reply: Send) -> None:
        """Work a change out and write it, or say why not."""
        if int(message.get("revision", self.session.revision)) < self._outside:
            reply({"kind": "ask", "change": message})
            return
        try:
            text = _changed(self.session, message)
        except InputError as error:
            reply(_refused(message, faults_told(error.faults, MM)))
            return
        if text == self.session.text:
            self._send(self._job())
            await self._ask("job", text)
            return
        found = await self._worked_out(text)
        if found["kind"] == "faults" and not self._faulty:
            reply(_refused(message, found["faults"]))
            await self._ask("job", self.session.text)
            return
        if await self._written(lambda: self.session.write(text), message, reply):
            self._faulty = found["kind"] == "faults"

    async def _back(self, message: Message, reply: Send) -> None:
        step = self.session.undo if message["kind"] == "undo" else self.session.redo
        if await self._written(step, message, reply):
            await self._ask("job", self.session.text)

    async def _written(self, write: Callable[[], None], message: Message, reply: Send) -> bool:
        """Write what a message asks for, and tell all pages; return whether it is written. Where it
        is not, its page is told why, and all pages show the file as it is."""
        try:
            await asyncio.to_thread(write)
        except ChangedOutsideError:
            await self._outside_changed()
            if message["kind"] in _CHANGES:
                reply({"kind": "ask", "change": message})
            return False
        except (CorepathError, OSError) as error:
            told = Fault(self.session.path.name, f"cannot be written: {error}")
            reply(_refused(message, faults_told([told], MM)))
            await self._ask("job", self.session.text)
            return False
        self._contents.take()
        self._send(self._job())
        self._plan_always()
        return True

    def _plan_always(self) -> None:
        if self._always:
            self.plan.start()

    async def _worked_out(self, text: str) -> Message:
        """Return the verdict on a text, or its faults, which are then told to no page."""
        self._waiting = asyncio.get_running_loop().create_future()
        try:
            await self._ask("job", text)
            return await self._waiting
        finally:
            self._waiting = None

    async def _ask(self, kind: str, text: str) -> None:
        self._asked = await self._bench.ask(kind, text=text, **self._view)
        self._draft = kind == "draft"

    def _answered(self, answer: Message) -> None:
        if answer["kind"] in ("cross", "turn"):
            self._send(answer)
        elif answer["number"] in (self._asked, None):  # None: the workshop has ended
            if answer["kind"] in ("verdict", "faults"):
                if self._is_waited_for(answer):
                    return
                for kind in ("verdict", "faults", "odds", "fixes"):
                    self._held.pop(kind, None)
            answer["draft"] = self._draft
            self._held[answer["kind"]] = answer
            self._send(answer)

    def _planned(self, message: Message) -> None:
        """Tell all pages how far a plan is; `number` counts those written, `last` is the last."""
        if "plan" in message:
            self.plans_made, self._last_plan = self.plans_made + 1, message["plan"]
        message = {**message, "number": self.plans_made, "last": self._last_plan}
        self._held["plan"] = message
        self._send(message)
        for send in tuple(self.followers):
            send(message)

    def _is_waited_for(self, answer: Message) -> bool:
        """Hand a verdict to the change that waits for it; return whether nobody else is to hear
        it."""
        if self._waiting is None:
            if not self._draft:
                self._faulty = answer["kind"] == "faults"
            return False
        if not self._waiting.done():
            self._waiting.set_result(answer)
        return answer["kind"] == "faults" and not self._faulty

    def _job(self) -> Message:
        session = self.session
        return {
            "kind": "job",
            "file": session.path.name,
            "revision": session.revision,
            "undo": session.can_undo,
            "redo": session.can_redo,
            "first": session.first.name if session.first else "",
            **forms(session.text, session.path),
        }

    def _send(self, message: Message) -> None:
        for send in tuple(self.pages):
            send(message)

    async def _watching(self) -> None:
        """Take over what changes outside, for ever."""
        async for _ in changes_of(self._contents):
            async with self._turn:
                await self._outside_changed()

    async def _outside_changed(self) -> None:
        self._contents.take()
        if self.session.look():
            self._outside = self.session.revision
            self._send({**self._job(), "outside": True})
        if self.pages or not self._always:
            await self._ask("job", self.session.text)
        self._plan_always()


def _changed(session: Session, message: Message) -> str:
    """Return the text with what a message asks for; raises InputError, too where the text cannot
    be read: then nothing of it is changed but by an editor."""
    text = session.text
    require_readable(text)
    if message["kind"] == "remove":
        return without(text, str(message["key"]))
    if message["kind"] == "insert":
        return inserted(text, path_of(str(message["key"])), str(message["value"]))
    values = _texts(message["values"])
    if message["kind"] == "add":
        return with_new_row(text, str(message["table"]), values)
    return changed(text, values, session.path)


def _texts(values: Mapping[str, Any]) -> dict[str, str]:
    return {str(key): str(value) for key, value in values.items()}


def _refused(message: Message, faults: list[dict[str, Any]]) -> Message:
    return {"kind": "refused", "values": message.get("values", {}), "faults": faults}
