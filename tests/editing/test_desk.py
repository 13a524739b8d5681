"""A sitting with the coupon, from the server's side: what pages hear, what is written, who is let
in. The page itself: test_edit_in_browser.py."""

from __future__ import annotations

import asyncio
import http.client
import os
import shutil
import signal
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("starlette", reason="the extra corepath[edit] is not installed")
pytest.importorskip("uvicorn", reason="the extra corepath[edit] is not installed")
pytest.importorskip("watchfiles", reason="the extra corepath[edit] is not installed")

from corepath.editing.desk import Desk
from corepath.editing.server import EditServer

SAMPLES = Path(__file__).parents[2] / "samples"
LIMIT = 60.0
Message = dict[str, Any]


class Page:
    """What an open page hears."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.inbox = desk, asyncio.Queue[Message]()
        desk.welcome(self.inbox.put_nowait)

    async def until(self, *kinds: str) -> Message:
        """The next message of one of these kinds."""
        while True:
            message = await asyncio.wait_for(self.inbox.get(), LIMIT)
            if message["kind"] in kinds:
                return message

    async def asks(self, **message: Any) -> None:
        await self.desk.heard(message, self.inbox.put_nowait)

    async def settled(self) -> None:
        """Nothing more is heard for a while."""
        while True:
            try:
                await asyncio.wait_for(self.inbox.get(), 0.4)
            except TimeoutError:
                return


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return Path(shutil.copy(SAMPLES / "coupon.toml", tmp_path / "coupon.toml"))


def sitting(job: Path, story: Callable[[Page], Awaitable[None]]) -> None:
    async def run() -> None:
        desk = Desk(job)
        await desk.open()
        try:
            await story(Page(desk))
        finally:
            await desk.close()

    asyncio.run(run())


@pytest.mark.whole
def test_a_page_hears_something_else_than_check_says(job: Path) -> None:
    """Verdict, drawings, odds and fixes of a change; a value that cannot be is not written; undo;
    a change by another program is shown, and a change made before it is asked about."""

    async def story(page: Page) -> None:
        before = job.read_text()
        assert (await page.until("verdict"))["answer"] == "ready"
        drawings = (await page.until("drawings"))["drawings"]
        assert list(drawings) == ["plan", "long", "cross", "stack"]
        assert (await page.until("odds"))["words"] == "Comes out in more than 99 of 100"

        # 10.6 − 8.0 − 0.4 of clean-up leave 2.2: a floor of 2.4 shows at no pass
        await page.asks(kind="set", values={"groove.floor": "2.4"}, revision=0)
        told = await page.until("verdict")
        assert told["answer"] == "no" and {"window", "shows"} <= set(told["wrong"])
        assert job.read_text() == before.replace("floor = 1.2", "floor = 2.4", 1)
        found = (await page.until("fixes"))["found"]
        floors = [one["values"].get("groove.floor") for one in found if len(one["values"]) == 1]
        assert any(floor is not None and float(floor) < 2.2 for floor in floors)

        await page.asks(kind="set", values=found[0]["values"])
        assert (await page.until("verdict"))["answer"] != "no"
        await page.asks(kind="set", values={"groove.inside": "-3"})
        refused = await page.until("refused")
        assert [one["key"] for one in refused["faults"]] == ["groove.inside"]
        await page.asks(kind="set", values={"groove.inside": "thick"})
        assert "groove.inside" in [one["key"] for one in (await page.until("refused"))["faults"]]
        assert "inside = 6.0" in job.read_text()
        for _ in range(2):
            await page.asks(kind="undo")
        assert job.read_text() == before

        await page.settled()
        job.write_text(before.replace("edge_thickness = 5.0", "edge_thickness = 4.8"))
        told = await page.until("job")
        assert told["outside"] and "edge_thickness = 4.8" in told["text"]
        await page.asks(kind="set", values={"groove.floor": "1.3"}, revision=told["revision"] - 1)
        assert (await page.until("ask"))["change"]["values"] == {"groove.floor": "1.3"}
        assert "floor = 1.2" in job.read_text()
        await page.asks(kind="set", values={"groove.floor": "1.3"}, revision=told["revision"])
        await page.until("job")
        assert "edge_thickness = 4.8" in job.read_text() and "floor = 1.3" in job.read_text()

        job.write_text("[board\n")
        told = await page.until("job")
        assert told["broken"][0]["line"] == 1 and told["text"] == "[board\n"
        for change in (
            {"kind": "set", "values": {"groove.floor": "1.3"}},
            {"kind": "remove", "key": "plug[1].at[1]"},
            {"kind": "add", "table": "plug", "values": {"name": "P2"}},
        ):
            await page.asks(**change, revision=told["revision"])
            refused = await page.until("refused", "job")
            assert refused["kind"] == "refused" and "left alone" in refused["faults"][0]["says"]
        assert job.read_text() == "[board\n"
        job.write_text(before)
        assert (await page.until("job"))["broken"] == []
        assert (await page.until("verdict"))["answer"] == "ready"

    sitting(job, story)


@pytest.mark.whole
def test_a_file_that_cannot_be_written_is_told_as_written(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: the page is told so at the key, and shows the file as it is; once there is room
    the same change is written."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    async def story(page: Page) -> None:
        before = job.read_text()
        await page.until("drawings")
        with monkeypatch.context() as disk:
            disk.setattr("corepath.editing.session.replace_file", full)
            await page.asks(kind="set", values={"groove.floor": "2.4"}, revision=0)
            told = await page.until("refused", "job")
            assert told["kind"] == "refused" and told["values"] == {"groove.floor": "2.4"}
            assert "No space left" in told["faults"][0]["says"]
        while (await page.until("job", "verdict"))["answer"] != "ready":
            pass  # the verdict of what was tried may come first
        assert job.read_text() == before and page.desk.session.revision == 0
        await page.asks(kind="set", values={"groove.floor": "2.4"}, revision=0)
        assert (await page.until("refused", "job"))["revision"] == 1
        assert job.read_text() == before.replace("floor = 1.2", "floor = 2.4", 1)

    sitting(job, story)


@pytest.mark.whole
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no process can be ended so here")
def test_a_workshop_that_ends_takes_the_page_with_it(job: Path) -> None:
    """The change that waited for it is refused, the next one starts another."""

    async def story(page: Page) -> None:
        await page.until("verdict")
        change = page.asks(kind="set", values={"groove.floor": "1.3"})
        waiting = asyncio.create_task(change)
        while page.desk.pages and not page.desk.is_working:
            await asyncio.sleep(0.005)
        assert page.desk.workshop_number is not None
        os.kill(page.desk.workshop_number, signal.SIGKILL)
        await asyncio.wait_for(waiting, LIMIT)
        assert "has ended" in (await page.until("refused"))["faults"][0]["says"]
        assert "floor = 1.2" in job.read_text()
        await page.asks(kind="set", values={"groove.floor": "1.4"})
        assert "floor = 1.4" in job.read_text()

    sitting(job, story)


@pytest.mark.whole
def test_somebody_else_is_let_in(job: Path) -> None:
    """Another host, another origin, another token or none: nothing of the job is answered."""
    server = EditServer(job)
    thread = server.start()
    own = f"127.0.0.1:{server.port}"
    at = f"/{server.token}/"

    def asked(path: str, method: str = "GET", **headers: str) -> tuple[int, dict[str, str], bytes]:
        line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=LIMIT)
        line.putrequest(method, path, skip_host=True)
        for name, value in {"Host": own, **headers}.items():
            line.putheader(name.replace("_", "-"), value)
        line.endheaders()
        found = line.getresponse()
        answer = found.status, {k.lower(): v for k, v in found.getheaders()}, found.read()
        line.close()
        return answer

    socket = {
        "Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Version": "13",
        "Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ==",
    }  # fmt: skip
    try:
        status, headers, page = asked(at)
        assert status == 200 and b"<title>corepath edit" in page
        assert "default-src 'none'" in headers["content-security-policy"]
        assert headers["cache-control"] == "no-store" and "server" not in headers
        assert asked(f"{at}page/main.js")[0] == asked(f"{at}drawings.css")[0] == 200
        for path in ("/", "/page/main.js", "/wrong/", f"{at}page/..%2fserver.py", f"{at}page/x.py"):
            assert asked(path)[0] == 404, path
        assert asked(at, Host="corepath.example")[0] == 403
        assert asked(at, Origin="http://corepath.example")[0] == 403
        for wrong in ({"Origin": "http://corepath.example"}, {}, {"Host": "corepath.example"}):
            for name in ("socket", "plans"):
                assert asked(f"{at}{name}", **socket, **wrong)[0] == 403, wrong
        for method in ("POST", "PUT", "DELETE", "PATCH"):
            assert asked(at, method)[0] == 405
        waits, headers, sheet = asked(f"{at}plan/sheet.html")
        assert waits == 200 and b"no sheet.html yet" in sheet
        assert "default-src" not in headers["content-security-policy"]  # the page has its own
        assert asked("/wrong/socket", **socket, Origin=f"http://{own}")[0] != 101
    finally:
        server.stop()
        thread.join(LIMIT)
    assert not thread.is_alive()
