"""The messages that the open page gets about the last run: whether there is a new plan, what is
wrong, whether a plan is being made now."""

from __future__ import annotations

import json
import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace

__all__ = ["Notice", "NoticeBoard"]


@dataclass(frozen=True, slots=True)
class Notice:
    """One message: `number` counts the plans written since the start, `plan` is the digest of the
    last; `faults`, as text, say why no newer one was written."""

    number: int = 0
    plan: str = ""
    busy: bool = False
    faults: tuple[str, ...] = ()

    def as_json(self) -> str:
        """Return the notice as one line of JSON, as the stream to the page needs it."""
        return json.dumps(
            {"number": self.number, "plan": self.plan, "busy": self.busy, "faults": self.faults}
        )


class NoticeBoard:
    """Holds the last notice; any number of threads may read it and wait for the next."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._notice = Notice()
        self._turn = 0
        self.closed = False

    @property
    def notice(self) -> Notice:
        return self._notice

    def begin(self) -> None:
        """Note that a plan is being made."""
        self._hang(replace(self._notice, busy=True))

    def planned(self, plan: str) -> None:
        """Note that a plan was written; `plan` is its digest. Earlier faults are forgotten."""
        self._hang(Notice(self._notice.number + 1, plan))

    def failed(self, faults: Sequence[str]) -> None:
        """Note that no plan could be made, and why; the files are still those of the last one."""
        self._hang(replace(self._notice, busy=False, faults=tuple(faults)))

    def close(self) -> None:
        """Release everyone who waits: no more notices will come."""
        with self._changed:
            self.closed = True
            self._changed.notify_all()

    def wait(self, after: int, timeout: float) -> tuple[int, Notice | None]:
        """Wait for a notice later than turn `after`; return its turn and the notice, or `after` and
        None when there was none for `timeout` seconds."""
        with self._changed:
            self._changed.wait_for(lambda: self._turn > after or self.closed, timeout)
            return (self._turn, self._notice) if self._turn > after else (after, None)

    # Turns count every notice, `Notice.number` only written plans: a page must also hear that a
    # plan has begun or failed.
    def _hang(self, notice: Notice) -> None:
        with self._changed:
            self._notice = notice
            self._turn += 1
            self._changed.notify_all()
