"""The files of a plan's folder as they are served: what is given, and what is not."""

from __future__ import annotations

from pathlib import Path

import pytest

from corepath.editing.plans.plan_pages import plan_file

PAGE = b"<!DOCTYPE html><html><body><p>sheet</p></body></html>"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    beside = tmp_path_factory.mktemp("plans")
    folder = beside / "core-plan"
    (folder / "solid").mkdir(parents=True)
    (folder / "sheet.html").write_bytes(PAGE)
    (folder / "solid" / "after-A-wood.stl").write_bytes(b"solid")
    (folder / "03-A-groove.nc").write_text("G21\n")
    (folder / ".hidden").write_text("secret")
    (beside / "outside.txt").write_text("secret")
    (folder / "link.txt").symlink_to(beside / "outside.txt")
    (beside / "core-plan-2").mkdir()
    (beside / "core-plan-2" / "x.svg").write_text("secret")
    return folder


def test_a_page_is_served_without_the_script_or_kept_with_it(folder: Path) -> None:
    """Served it shows the next plan by itself; on disk it makes no request to any network. A policy
    that forbids all connections lets ours in, and no other."""
    found = plan_file(folder, "sheet.html", 2, "/t/plans")
    assert found is not None and found[1] == "text/html; charset=utf-8"
    page = found[0]
    assert b'data-number="2"' in page and b'data-told-at="/t/plans"' in page
    assert page.index(b"WebSocket") < page.index(b"</body>") and page.endswith(b"</body></html>")
    assert (folder / "sheet.html").read_bytes() == PAGE
    rules = b"default-src 'none'; connect-src data: blob:"
    policy = b'<meta http-equiv="Content-Security-Policy" content="' + rules + b'">'
    for text in (policy + PAGE, b"<p>connect-src </p>"):
        (folder / "preview.html").write_bytes(text)
        found = plan_file(folder, "preview.html", 0, "/t/plans")
        assert found is not None
        if text.startswith(b"<p>"):
            assert found[0].startswith(text)
        else:
            assert b"default-src 'none'; connect-src 'self' data: blob:\"" in found[0]
            assert found[0].count(b"'self'") == 1


def test_files_are_served_otherwise_than_they_are(folder: Path) -> None:
    assert plan_file(folder, "solid/after-A-wood.stl", 0, "") == (b"solid", "model/stl")
    text = plan_file(folder, "03-A-groove.nc", 0, "")
    assert text == (b"G21\n", "text/plain; charset=utf-8")


def test_before_the_first_plan_there_is_no_page_to_wait_at(tmp_path: Path) -> None:
    """A job that is broken from the start: the folder is not even there."""
    found = plan_file(tmp_path / "none", "sheet.html", 0, "/t/plans")
    assert found is not None and b"no sheet.html yet" in found[0] and b"WebSocket" in found[0]
    assert plan_file(tmp_path / "none", "overview.svg", 0, "") is None
    assert not (tmp_path / "none").exists()


OUTSIDE = [
    "../outside.txt", "%2e%2e/outside.txt", "solid/../../outside.txt", "..%2foutside.txt",
    "..\\outside.txt", "%5c..%5coutside.txt", "/outside.txt", "./../outside.txt",
    "solid/%2e%2e/%2e%2e/outside.txt", ".hidden", "../core-plan-2/x.svg", "link.txt",
    "sheet.html%00.txt", "%ff", "solid", "solid/", "nothing.svg", "sheet.html/",
    "C:/windows/win.ini", "a/" * 3000, "/etc/hostname", "",
]  # fmt: skip


@pytest.mark.parametrize("path", OUTSIDE, ids=[path[:24] for path in OUTSIDE])
def test_something_outside_the_folder_or_a_list_of_it(folder: Path, path: str) -> None:
    """Any page that is open in the browser may try."""
    assert plan_file(folder, path, 0, "") is None


def test_an_absolute_path_is_served(folder: Path) -> None:
    assert plan_file(folder, str(folder.parent / "outside.txt"), 0, "") is None
