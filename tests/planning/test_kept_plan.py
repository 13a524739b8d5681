"""A plan whose paths come from the cache: the same files, read back all the same."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from corepath.caching.folder_store import FolderStore
from corepath.caching.kept_entry import KeptEntry, from_bytes, to_bytes
from corepath.job.load import load_job
from corepath.planning.make import make_files
from corepath.planning.plan import Plan, plan
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.proving.proof import prove

GROOVE = "03-A-groove"
SAMPLES = Path(__file__).parents[2] / "samples"


class Counted:
    """A folder store that counts what it is asked."""

    def __init__(self, folder: Path) -> None:
        self.inner, self.found, self.missed, self.written = FolderStore(folder), 0, 0, 0

    def read(self, key: str) -> KeptEntry | None:
        entry = self.inner.read(key)
        self.found += entry is not None
        self.missed += entry is None
        return entry

    def write(self, key: str, entry: KeptEntry) -> None:
        self.inner.write(key, entry)
        self.written += 1


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    """The coupon with coarser ridges, whose paths are sooner made."""
    job = load_job(SAMPLES / "coupon.toml")
    coarse = job.model_copy(update={"deck": job.deck.model_copy(update={"scallop": 0.15})})
    return prepare_job(coarse, SAMPLES)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("kept") / "paths"


@pytest.fixture(scope="module")
def first(prepared: Prepared, folder: Path) -> Plan:
    """The plan that fills the folder."""
    return plan(prepared, store=FolderStore(folder))


@pytest.mark.whole
def test_a_second_plan_differs_or_finds_its_paths_again(
    prepared: Prepared, folder: Path, first: Plan
) -> None:
    """With all cores too: another process makes drawings and tries other blanks."""
    store = Counted(folder)
    second = plan(prepared, store=store, cores=3)
    assert second.files == first.files and len(first.files) > 20
    # a path for each work
    assert store.found >= len(prepared.ahead) and store.missed == store.written == 0
    assert {one.name: one.text for one in make_files(prepared)} == {
        one.name: one.text for one in second.made
    }


def cut_off(key: str, own: bytes, other: bytes) -> bytes:
    return own[:-1]


def swapped(key: str, own: bytes, other: bytes) -> bytes:
    """Another work's path under this one's name."""
    return other


def emptied(key: str, own: bytes, other: bytes) -> bytes:
    """A right digest and key over something that is no path."""
    return to_bytes(key, KeptEntry({"programs": [{}], "passes": [], "left": 1}, ()))


@pytest.mark.whole
@pytest.mark.parametrize("spoilt", [cut_off, swapped, emptied])
def test_a_damaged_entry_reaches_a_file(
    prepared: Prepared, folder: Path, first: Plan, spoilt: Callable[[str, bytes, bytes], bytes]
) -> None:
    paths = sorted(folder.glob("*.kept"))
    held = [path.read_bytes() for path in paths]
    for path, own, other in zip(paths, held, [held[-1], *held[:-1]], strict=True):
        path.write_bytes(spoilt(path.stem, own, other))
    store = Counted(folder)
    made = make_files(prepared, store=store)
    assert [one.text for one in made] == [one.text for one in first.made]
    # each was found anew, and put right for the next time
    assert store.written == len(prepared.ahead)
    again = Counted(folder)
    make_files(prepared, store=again)
    assert again.found == len(prepared.ahead) and again.written == 0


@pytest.mark.whole
def test_a_wrong_path_from_the_cache_is_believed(
    prepared: Prepared, folder: Path, first: Plan
) -> None:
    """An entry with a right digest whose cuts stay 0.3 mm too high: the read-back judges what is
    written, wherever it comes from."""

    class Higher(Counted):
        def read(self, key: str) -> KeptEntry | None:
            entry = super().read(key)
            if entry is None or [p["stem"] for p in entry.head.get("programs", ())] != [GROOVE]:
                return entry
            (table,) = entry.arrays
            table[table[:, 3] < 3.0, 3] += 0.3
            return from_bytes(key, to_bytes(key, KeptEntry(entry.head, (table,))))

    before = next(one for one in first.made if one.program.stem == GROOVE)
    assert min(move.z for move in before.program.moves) < 3.0 and not first.failed
    found = prove(prepared, store=Higher(folder))
    assert found.readback is not None
    assert {one.file for one in found.readback.findings} == {f"{GROOVE}.nc"}
