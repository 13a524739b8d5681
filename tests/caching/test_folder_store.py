"""The folder of kept results: whatever happens to it, an entry is right or not there."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import stat
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from corepath.caching import folder_store as module
from corepath.caching.canonical import key_of
from corepath.caching.folder_store import FolderStore, cache_folder, store_of
from corepath.caching.kept_entry import KeptEntry, from_bytes, to_bytes
from corepath.caching.store import NOTHING

KEY, OTHER = key_of("one"), key_of("other")
TABLE = np.array([[0.1, -0.0, 1e300], [3.0, 4.0, 5.0]])
ENTRY = KeptEntry({"says": "a path", "left": [0.1, None]}, (TABLE, np.zeros((0, 7))))
posix = pytest.mark.skipif(os.name != "posix", reason="modes and links as POSIX has them")


@pytest.fixture
def store(tmp_path: Path) -> FolderStore:
    """A store with one entry."""
    made = FolderStore(tmp_path / "cache" / "paths")
    made.write(KEY, ENTRY)
    return made


def place(store: FolderStore, key: str = KEY) -> Path:
    return store.folder / f"{key}.kept"


def same(found: KeptEntry | None) -> bool:
    return (
        found is not None
        and found.head == ENTRY.head
        and [one.tobytes() for one in found.arrays] == [one.tobytes() for one in ENTRY.arrays]
        and [one.shape for one in found.arrays] == [one.shape for one in ENTRY.arrays]
    )


def test_an_entry_comes_back_otherwise_than_it_was(store: FolderStore) -> None:
    assert same(store.read(KEY)) and store.read(OTHER) is None


def test_a_damaged_entry_is_taken() -> None:
    """A disk that flips one bit, a write that was cut off: at any place of it."""
    data = to_bytes(KEY, ENTRY)
    assert same(from_bytes(KEY, data))
    for at in range(len(data)):
        with pytest.raises(ValueError, match="damaged"):
            from_bytes(KEY, data[:at])
        with pytest.raises(ValueError, match="damaged"):
            from_bytes(KEY, data[:at] + bytes([data[at] ^ 1 << at % 8]) + data[at + 1 :])


def stale(path: Path) -> None:
    """An entry made for something else, under this one's name."""
    path.write_bytes(to_bytes(OTHER, ENTRY))


def torn(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-100])


def foreign(path: Path) -> None:
    path.write_bytes(b"PK\x03\x04" + bytes(5000))


def odd(path: Path) -> None:
    """Whole, with the right key, but not what an entry is."""
    path.write_bytes(to_bytes(KEY, KeptEntry({}, ())).replace(b'"head"', b'"HEAD"'))


def empty(path: Path) -> None:
    path.write_bytes(b"")


def folder_there(path: Path) -> None:
    path.unlink()
    path.mkdir()


def pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def linked(path: Path) -> None:
    """A link to a right entry elsewhere, which somebody else might change."""
    shutil.move(path, path.parent.parent / "elsewhere")
    path.symlink_to(path.parent.parent / "elsewhere")


def open_to_all(path: Path) -> None:
    path.chmod(0o666)


def too_large(path: Path) -> None:
    with path.open("r+b") as file:
        file.truncate(2**40)


@posix
@pytest.mark.parametrize(
    "spoil",
    [stale, torn, foreign, odd, empty, folder_there, pipe, linked, open_to_all, too_large],
)
def test_what_is_no_entry_of_ours_is_taken_or_stops_a_run(
    store: FolderStore, spoil: Callable[[Path], None]
) -> None:
    spoil(place(store))
    assert store.read(KEY) is None
    store.write(OTHER, ENTRY)
    assert same(store.read(OTHER))


def test_a_folder_that_is_gone_stops_a_run(store: FolderStore) -> None:
    """It may be deleted at any time, and is made again."""
    shutil.rmtree(store.folder.parent)
    assert store.read(KEY) is None
    store.write(KEY, ENTRY)
    assert same(store.read(KEY))


@posix
def test_others_can_read_or_plant_entries(store: FolderStore) -> None:
    assert stat.S_IMODE(store.folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(place(store).stat().st_mode) == 0o600
    store.folder.chmod(0o777)
    store.write(OTHER, ENTRY)
    assert stat.S_IMODE(store.folder.stat().st_mode) == 0o700


@posix
def test_entries_and_folders_of_others_are_used(
    store: FolderStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run as root in a user's home, or with a folder that somebody made for all."""
    monkeypatch.setattr(os, "getuid", lambda: store.folder.stat().st_uid + 1)
    assert store.read(KEY) is None
    store.write(OTHER, ENTRY)
    assert not place(store, OTHER).exists()


@posix
@pytest.mark.parametrize("what", ["file", "link", "nothing above", "may not"])
def test_a_folder_that_cannot_be_used_stops_a_run(
    tmp_path: Path, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "paths"
    if what == "file":
        folder.write_text("mine")
    elif what == "link":
        (tmp_path / "real").mkdir()
        folder.symlink_to(tmp_path / "real")
    elif what == "nothing above":
        folder = Path("/proc/none/paths")
    else:  # not by its mode: that means nothing to root

        def refused(*args: object, **options: object) -> None:
            raise PermissionError("no")

        monkeypatch.setattr("tempfile.mkstemp", refused)
    store = FolderStore(folder)
    store.write(KEY, ENTRY)
    assert store.read(KEY) is None
    assert what != "file" or folder.read_text() == "mine"
    assert what != "link" or not list((tmp_path / "real").iterdir())


@pytest.fixture
def small_files() -> Iterator[None]:
    """No file may grow beyond 300 bytes: what comes after that fails as on a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (300, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, before)
    signal.signal(signal.SIGXFSZ, handler)


@posix
def test_a_full_disk_stops_a_run_or_leaves_half_an_entry(
    store: FolderStore, small_files: None
) -> None:
    large = KeptEntry({}, (np.zeros(1000),))
    with pytest.raises(OSError):
        (store.folder.parent / "proof").write_bytes(bytes(1000))
    store.write(OTHER, large)
    assert store.read(OTHER) is None and same(store.read(KEY))
    assert list(store.folder.iterdir()) == [place(store)]


def test_it_grows_without_end(tmp_path: Path) -> None:
    """The longest unused go; what is read counts as used; other files are nobody's."""
    size = len(to_bytes(KEY, ENTRY))
    store = FolderStore(tmp_path / "paths", most=3 * size + 10)
    keys = [key_of(k) for k in range(5)]
    for k, key in enumerate(keys[:3]):
        store.write(key, ENTRY)
        os.utime(place(store, key), (1000.0 + k, 1000.0 + k))
    (store.folder / "note.txt").write_bytes(bytes(10 * size))
    assert same(store.read(keys[0]))  # now the last used
    store.write(keys[3], ENTRY)
    left = {key for key in keys if place(store, key).exists()}
    assert left == {keys[0], keys[2], keys[3]}
    assert (store.folder / "note.txt").exists()


def test_thousands_of_small_entries_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All are looked through after each write."""
    monkeypatch.setattr(module, "_MOST_FILES", 4)
    store = FolderStore(tmp_path / "paths")
    for k in range(9):
        store.write(key_of(k), ENTRY)
    assert len(list(store.folder.iterdir())) == 4


def test_what_a_killed_run_left_stays_for_ever(store: FolderStore) -> None:
    """But not what another run is writing just now."""
    for name, age in (("old.part", 2 * 3600.0), ("new.part", 10.0)):
        (store.folder / name).write_bytes(b"half")
        os.utime(store.folder / name, (time.time() - age,) * 2)
    store.write(OTHER, ENTRY)
    assert {path.name for path in store.folder.iterdir()} == {
        place(store).name, place(store, OTHER).name, "new.part",
    }  # fmt: skip


def test_the_folder_is_not_where_the_user_wants_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COREPATH_CACHE", str(tmp_path / "own"))
    assert cache_folder() == tmp_path / "own"
    monkeypatch.delenv("COREPATH_CACHE")
    if os.name == "posix" and os.uname().sysname == "Linux":  # XDG Base Directory Specification
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
        assert cache_folder() == tmp_path / "xdg" / "corepath" / "paths"
        monkeypatch.delenv("XDG_CACHE_HOME")
        monkeypatch.setenv("HOME", str(tmp_path))
        assert cache_folder() == tmp_path / ".cache" / "corepath" / "paths"


def test_a_folder_in_no_fixed_place_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    """Results would lie about in whatever folder a command is run in."""
    monkeypatch.setenv("COREPATH_CACHE", "here")
    assert store_of() is NOTHING and store_of(False) is NOTHING
