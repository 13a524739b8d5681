"""One sitting with a job file: what is written, what is kept, what somebody else wrote."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from corepath.editing.session import ChangedOutsideError, Session


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "b.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\r\n")
    return path


def test_undo_does_not_bring_back_every_byte(job: Path) -> None:
    """Through the whole sitting; the first version is kept beside it once."""
    sitting = Session(job)
    texts = [sitting.text] + [f"\ufeffa = {k}\r\n" for k in (2, 3, 4)]
    for text in texts[1:]:
        sitting.write(text)
    assert [one.name for one in job.parent.iterdir() if one != job] == ["b.toml.old"]
    assert (job.parent / "b.toml.old").read_bytes() == b"\xef\xbb\xbfa = 1\r\n"
    for text in reversed(texts[:-1]):
        sitting.undo()
        assert job.read_bytes() == text.encode()
    assert not sitting.can_undo
    for text in texts[1:]:
        sitting.redo()
        assert job.read_bytes() == text.encode()
    assert not sitting.can_redo
    sitting.undo()
    sitting.write("\ufeffa = 9\r\n")
    assert not sitting.can_redo and sitting.revision == 3 + 3 + 3 + 2


def test_a_change_by_somebody_else_is_overwritten(job: Path) -> None:
    """It is refused, taken over, and can be undone like any other."""
    sitting = Session(job)
    job.write_text("a = 5\n")
    with pytest.raises(ChangedOutsideError):
        sitting.write("a = 2\n")
    assert job.read_text() == "a = 5\n"
    assert sitting.look() and sitting.text == "a = 5\n" and not sitting.look()
    sitting.undo()
    assert job.read_bytes() == b"\xef\xbb\xbfa = 1\r\n"


def test_a_file_that_cannot_be_read_takes_the_text_away(job: Path) -> None:
    sitting = Session(job)
    job.write_bytes(b"\xff\xfe")
    assert not sitting.look() and "UTF-8" in sitting.faults[0].message and "a = 1" in sitting.text


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a process that can be ended at will")
def test_a_process_ended_while_it_writes_leaves_half_a_file(job: Path) -> None:
    """Ended at any moment the file is one of the texts, whole."""
    import signal
    import time

    texts = {f"a = {k}\n".encode() * 400 for k in (1, 2)}
    job.write_bytes(min(texts))
    for wait in range(12):
        child = os.fork()
        if child == 0:
            sitting = Session(job)
            while True:
                for text in sorted(texts):
                    sitting.write(text.decode())
        time.sleep(0.004 + 0.003 * wait)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        assert job.read_bytes() in texts
