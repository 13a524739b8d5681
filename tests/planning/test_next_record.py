"""What comes next after a plan was read back."""

import json
from pathlib import Path
from types import SimpleNamespace

import pytest

from corepath.cli.commands.readback import _next
from corepath.job.record.ascut import Record, load_record, record_path, save_record
from corepath.job.record.entry_kinds import Entry
from corepath.job.record.settled import Settled


def test_a_file_that_was_cut_since_is_not_sent_to_the_machine_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After `record --cut dowels` the read-back of the plan before it said to run 01-A-dowels."""
    monkeypatch.chdir(tmp_path)
    folder, job = Path("job-plan"), Path("job.toml")
    folder.mkdir()
    job.write_text("")
    listed = [{"file": "01-A-dowels.nc", "name": "dowels"}]
    (folder / "report.json").write_text(json.dumps({"job_file": "job.toml", "operations": listed}))

    def told(settled: Settled) -> str:
        reading = SimpleNamespace(
            failed=False,
            measures=[SimpleNamespace(file="01-A-dowels.nc")],
            prepared=SimpleNamespace(known=SimpleNamespace(settled=settled)),
        )
        return _next(folder, reading)  # type: ignore[arg-type]

    assert "run 01-A-dowels.nc at the machine" in told(Settled())
    cut = Entry("cut", operation="dowels", n=1, date="2026-05-17", stage="A")
    save_record(Record((cut,), "mm", "Job", None, 1), record_path(job))
    assert "run 01" not in told(Settled())
    assert told(Settled()).endswith("Next: corepath plan job.toml -o job-plan")
    # A plan made with that record is up to date.
    assert "run 01-A-dowels.nc" in told(load_record(record_path(job)).settled())
