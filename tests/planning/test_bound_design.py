"""The design in a plan's folder is bound to its files: by the plan's digest, worked out anew, and
by SHA-256."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from corepath.gcode.read.findings import Findings
from corepath.job.load import load_job
from corepath.job.text.resolved import digest, resolved_dict
from corepath.planning.folder.plan_seal import check_design, files_sha256, found_content, seal_of

COUPON = Path(__file__).parents[2] / "samples" / "coupon.toml"
RECORD: dict[str, Any] = {
    "record": {"planes": [10.4], "stop": 9.9},
    "measured": {"x": [1.0], "thickness": [12.1]},
}
GEOMETRY = b'{"deck": {"h": [1.0, 2.0]}}'


def folder(record: dict[str, Any]) -> tuple[dict[str, Any], dict[str, bytes], dict[str, Any]]:
    """Job, bytes and report of a folder whose design is that of the coupon with a record."""
    job = load_job(COUPON)
    resolved = json.loads(json.dumps({**resolved_dict(job), **record, "deck_heights": "ab12"}))
    content = {"job.resolved.json": json.dumps(resolved).encode(), "geometry.json": GEOMETRY}
    return resolved, content, {"plan": digest(job, record), "sha256": files_sha256(content)}


def found(
    resolved: dict[str, Any], content: dict[str, bytes], report: dict[str, Any]
) -> list[tuple[str, str]]:
    findings = Findings()
    check_design(resolved, report, content, findings)
    return [(one.kind, one.file) for one in findings]


@pytest.mark.parametrize("record", [{}, RECORD, {"record": RECORD["record"]}])
def test_a_folder_as_it_was_planned_is_bound(record: dict[str, Any]) -> None:
    """A false alarm here would withdraw every plan; the digest is that of sorted JSON without
    spaces, by hand."""
    resolved, content, report = folder(record)
    job = {
        key: value
        for key, value in resolved.items()
        if key not in ("schema", "deck_heights", *record)
    }
    by_hand = json.dumps(
        {"job": job, **({"record": record} if record else {})},
        sort_keys=True,
        separators=(",", ":"),
    )
    assert report["plan"] == hashlib.sha256(by_hand.encode()).hexdigest()[:8]
    assert found(resolved, content, report) == []


ALTERED = {
    "spoil board": lambda job: job["blank"].update(spoil_board=60.0),
    "spin-up": lambda job: job["machine"].update(spin_up=1.0),
    "collet": lambda job: job["machine"].update(collet_diameter=8.0),
    "title": lambda job: job.update(title="Other"),
    "stop": lambda job: job["record"].update(stop=9.4),
    "measured": lambda job: job["measured"].update(x=[2.0]),
    "no number": lambda job: job["blank"].update(spoil_board=float("nan")),
}


@pytest.mark.parametrize("what", ALTERED)
def test_a_job_that_was_altered_is_found(what: str) -> None:
    """It is what the folder is judged by: a spoil board of 60 hides a cut through the table. Hashes
    agree."""
    resolved, content, report = folder(RECORD)
    ALTERED[what](resolved)
    content["job.resolved.json"] = json.dumps(resolved).encode()
    report["sha256"] = files_sha256(content)
    assert found(resolved, content, report) == [("changed", "job.resolved.json")]


def test_a_design_file_that_was_altered_or_is_gone_is_found() -> None:
    """`docs/verify.py` takes floors and walls from geometry.json."""
    resolved, content, report = folder({})
    assert found(resolved, {**content, "geometry.json": GEOMETRY + b" "}, report) == [
        ("changed", "geometry.json")
    ]
    del content["geometry.json"]
    assert found(resolved, content, report) == [("missing-file", "geometry.json")]


def test_a_folder_without_report_or_of_an_earlier_form_is_held_to_what_it_has() -> None:
    """Earlier plans name no SHA-256 of these files; nothing else may be asked of them."""
    resolved, content, report = folder({})
    assert found(resolved, content, {}) == []
    assert found(resolved, content, {"plan": report["plan"]}) == []
    assert found(resolved, content, {"plan": report["plan"], "sha256": ["?"]}) == []


def test_a_sheet_or_a_report_that_was_altered_is_found(tmp_path: Path) -> None:
    """Someone reads the heights of the stops from paper, and zero and minutes from the report."""
    resolved, content, report = folder({})
    content["sheet.html"] = b"<p>stop at 9.90</p>"
    report = {
        **report,
        "sha256": files_sha256({**content, "03-A-groove.nc": "M2"}),
        "skim": {"planned_stop": 4},
    }
    report["seal"] = seal_of(report)
    assert list(report["sha256"]) == ["geometry.json", "job.resolved.json", "sheet.html"]
    by_hand = json.dumps(
        {k: v for k, v in report.items() if k != "seal"}, sort_keys=True, separators=(",", ":")
    )
    assert report["seal"] == hashlib.sha256(by_hand.encode()).hexdigest()
    assert found(resolved, content, json.loads(json.dumps(report))) == []
    altered = {**content, "sheet.html": content["sheet.html"].replace(b"9.90", b"9.40")}
    assert found(resolved, altered, report) == [("changed", "sheet.html")]
    del altered["sheet.html"]
    assert found(resolved, altered, report) == [], (
        "whoever does not want the sheet may take it away"
    )
    assert found(resolved, content, {**report, "skim": {"planned_stop": 5}}) == [
        ("changed", "report.json")
    ]


def test_a_report_leads_nowhere_out_of_the_folder(tmp_path: Path) -> None:
    """A name in a report that someone sent is no reason to read the disk."""
    (tmp_path / "plan").mkdir()
    (tmp_path / "plan" / "sheet.html").write_text("x")
    (tmp_path / "secret").write_text("y")
    names = ["sheet.html", "../secret", str(tmp_path / "secret"), "", "a\0b", "gone.svg"]
    assert found_content(tmp_path / "plan", {"sha256": dict.fromkeys(names, "")}) == {
        "sheet.html": b"x"
    }
    assert found_content(tmp_path / "plan", {"sha256": 3}) == {}
