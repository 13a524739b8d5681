"""The page's server: what it gives, to whom, and what it refuses."""

from __future__ import annotations

import http.client
import json
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from corepath.errors import InputError
from corepath.watching import NoticeBoard, PageServer, serving
from corepath.watching.reload_page import with_script

PAGE = b"<!DOCTYPE html><html><body><p>sheet</p></body></html>"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[PageServer]:
    folder = tmp_path / "core-plan"
    (folder / "solid").mkdir(parents=True)
    (folder / "sheet.html").write_bytes(PAGE)
    (folder / "solid" / "after-A-wood.stl").write_bytes(b"solid")
    (folder / "03-A-groove.nc").write_text("G21\n")
    (folder / ".hidden").write_text("secret")
    (tmp_path / "outside.txt").write_text("secret")
    (folder / "link.txt").symlink_to(tmp_path / "outside.txt")
    (tmp_path / "core-plan-2").mkdir()
    (tmp_path / "core-plan-2" / "x.svg").write_text("secret")
    with serving(folder, NoticeBoard(), port=None) as server:
        yield server


def ask(
    server: PageServer, path: str, method: str = "GET", host: str | None = None
) -> tuple[int, dict[str, str], bytes]:
    """Status, headers and body."""
    link = http.client.HTTPConnection("127.0.0.1", server.server_port, timeout=20)
    link.putrequest(method, path, skip_host=True)
    if host != "":
        link.putheader("Host", host or f"127.0.0.1:{server.server_port}")
    link.endheaders()
    answer = link.getresponse()
    body = answer.read()
    link.close()
    return answer.status, dict(answer.getheaders()), body


def test_it_listens_on_this_machine_alone(server: PageServer) -> None:
    """On 0.0.0.0 the whole workshop's network could read the job."""
    assert server.socket.getsockname()[0] == "127.0.0.1"


def test_the_sheet_is_served_with_the_script_and_stays_without_on_disk(server: PageServer) -> None:
    """On disk it must open without any request to a network."""
    status, headers, body = ask(server, "/sheet.html")
    assert status == 200 and body == with_script(PAGE, 0) and b"EventSource" in body
    assert body.index(b"EventSource") < body.index(b"</body>")
    assert (server.folder / "sheet.html").read_bytes() == PAGE
    assert (
        headers["Cache-Control"] == "no-store"
        and headers["Cross-Origin-Resource-Policy"] == "same-origin"
    )
    status, headers, _ = ask(server, "/")
    assert (status, headers["Location"]) == (302, "/sheet.html")


def test_a_page_that_forbids_itself_connections_may_have_ours(server: PageServer) -> None:
    """Else the preview never learns of a new plan; on disk its policy stays, and no other host is
    let in."""
    rules = b"default-src 'none'; connect-src data: blob:"
    policy = b'<meta http-equiv="Content-Security-Policy" content="' + rules + b'">'
    (server.folder / "preview.html").write_bytes(policy + PAGE)
    served = ask(server, "/preview.html")[2]
    assert (
        b"default-src 'none'; connect-src 'self' data: blob:\"" in served
        and served.count(b"'self'") == 1
    )
    text = b"<p>connect-src </p>"
    (server.folder / "preview.html").write_bytes(text)
    assert ask(server, "/preview.html")[2].startswith(text)


def test_files_in_the_folder_are_served_as_they_are(server: PageServer) -> None:
    assert ask(server, "/solid/after-A-wood.stl")[2] == b"solid"
    status, headers, body = ask(server, "/03-A-groove.nc?x=1")
    assert (status, body, headers["Content-Type"]) == (200, b"G21\n", "text/plain; charset=utf-8")


def test_head_has_no_body(server: PageServer) -> None:
    status, headers, body = ask(server, "/03-A-groove.nc", method="HEAD")
    assert (status, headers["Content-Length"], body) == (200, "4", b"")
    assert ask(server, "/-/events", method="HEAD")[0] == 200


OUTSIDE = [
    "/../outside.txt", "/%2e%2e/outside.txt", "/solid/../../outside.txt", "/..%2foutside.txt",
    "/..\\outside.txt",
    "/%5c..%5coutside.txt", "//outside.txt", "/./../outside.txt",
    "/solid/%2e%2e/%2e%2e/outside.txt", "/.hidden",
    "/../core-plan-2/x.svg", "/link.txt", "/sheet.html%00.txt", "/%ff", "/solid", "/solid/",
    "/nothing.svg",
    "/sheet.html/", "/C:/windows/win.ini", "/" + "a/" * 3000,
]  # fmt: skip


@pytest.mark.parametrize("path", OUTSIDE, ids=[path[:24] for path in OUTSIDE])
def test_nothing_outside_the_folder_and_no_list_of_it(server: PageServer, path: str) -> None:
    """Any program on this machine, and any page in the browser, can ask."""
    status, _, body = ask(server, path)
    assert status in (404, 414) and b"secret" not in body and b"after-A" not in body


def test_an_absolute_path_names_a_file_of_the_folder_only(server: PageServer) -> None:
    assert ask(server, "//etc/hostname")[0] == 404
    assert ask(server, str(server.folder.parent / "outside.txt"))[0] == 404


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{}", "127.0.0.1", "127.0.0.1:1", "192.168.1.2:{}", ""]
)
def test_a_name_from_elsewhere_is_refused(server: PageServer, host: str) -> None:
    """A site may let its own name point to 127.0.0.1 and so read what is served here."""
    for path in ("/sheet.html", "/", "/-/events"):
        status, _, body = ask(server, path, host=host.format(server.server_port))
        assert status == 403 and b"sheet" not in body


def test_two_hosts_are_refused_and_localhost_is_not(server: PageServer) -> None:
    assert ask(server, "/sheet.html", host=f"localhost:{server.server_port}")[0] == 200
    with socket.create_connection(("127.0.0.1", server.server_port), timeout=20) as link:
        good = f"Host: 127.0.0.1:{server.server_port}\r\n"
        link.sendall(f"GET /sheet.html HTTP/1.1\r\n{good}Host: evil.example\r\n\r\n".encode())
        assert b" 403 " in link.recv(100)


@pytest.mark.parametrize(
    "method", ["POST", "PUT", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PATCH"]
)
def test_nothing_can_be_written(server: PageServer, method: str) -> None:
    status, headers, _ = ask(server, "/sheet.html", method=method)
    assert status == 405 and headers["Allow"] == "GET, HEAD"
    assert (server.folder / "sheet.html").read_bytes() == PAGE


def events(server: PageServer) -> Iterator[dict[str, object]]:
    """The notices as a page gets them."""
    link = http.client.HTTPConnection("127.0.0.1", server.server_port, timeout=20)
    link.request("GET", "/-/events")
    answer = link.getresponse()
    assert answer.getheader("Content-Type") == "text/event-stream"
    while line := answer.readline():
        if line.startswith(b"data: "):
            yield json.loads(line[6:])
    link.close()


def test_a_page_is_told_of_each_plan_and_of_faults(server: PageServer) -> None:
    """In order: what hangs there now, a run, its faults with the earlier plan kept, and the next
    plan."""
    board = server.board
    board.planned("aaaa1111")
    told = events(server)
    assert next(told) == {"number": 1, "plan": "aaaa1111", "busy": False, "faults": []}
    board.begin()
    assert next(told)["busy"] is True
    board.failed(["core.toml:3: groove.flor: unknown key"])
    broken = next(told)
    assert broken["number"] == 1 and broken["plan"] == "aaaa1111" and not broken["busy"]
    assert broken["faults"] == ["core.toml:3: groove.flor: unknown key"]
    board.planned("bbbb2222")
    assert next(told) == {"number": 2, "plan": "bbbb2222", "busy": False, "faults": []}
    assert b'data-number="2"' in ask(server, "/sheet.html")[2]
    board.close()
    assert list(told) == []


def test_before_the_first_plan_there_is_a_page_to_wait_at(tmp_path: Path) -> None:
    """A job that is broken from the start: the folder is not even there."""
    with serving(tmp_path / "none", NoticeBoard(), port=None) as server:
        status, _, body = ask(server, "/sheet.html")
        assert status == 200 and b"no sheet.html yet" in body and b"EventSource" in body
        assert ask(server, "/overview.svg")[0] == 404
    assert not (tmp_path / "none").exists()


def test_a_port_in_use_is_told_and_without_one_another_is_taken(tmp_path: Path) -> None:
    with (
        serving(tmp_path, NoticeBoard(), port=None) as one,
        serving(tmp_path, NoticeBoard(), port=None) as two,
    ):
        assert one.server_port != two.server_port
        with (
            pytest.raises(InputError, match="cannot be listened on"),
            serving(tmp_path, NoticeBoard(), one.server_port),
        ):
            pass
