"""The job with all defaults filled in, as plain data, and back; and the digest by which paper and
file are matched.

Lengths are mm whatever the job's own units: `units` says only what the job was written in,
`lengths` says "mm". Floats survive a round trip through JSON exactly, since Python writes the
shortest text that reads back as the same float.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from typing import Any

from pydantic import ValidationError

from corepath.errors import InputError
from corepath.job.load import fault_of
from corepath.job.model import Job
from corepath.job.text.schema import KEY, RESOLVED
from corepath.job.text.source import Source, locate

__all__ = ["digest", "digest_of", "from_resolved", "resolved_dict"]


def resolved_dict(job: Job) -> dict[str, Any]:
    """Return the whole job with all defaults, in mm, as plain JSON types."""
    return {KEY: RESOLVED.newest, "lengths": "mm", **job.model_dump(mode="json")}


def from_resolved(resolved: Mapping[str, Any], file: str = "job.resolved.json") -> Job:
    """Return the job that `resolved_dict` was given; other keys than the job's are ignored.

    Raises `InputError` with all faults where the data is no valid job; `file` is named in them.
    """
    content, wrong = RESOLVED.settle(resolved)
    if wrong is not None:
        raise InputError(locate([wrong], Source(file, "", dict(resolved))))
    known = {key: content[key] for key in Job.model_fields if key in content}
    try:
        return Job.model_validate(known)
    except ValidationError as error:
        source = Source(file, "", known)
        entries = error.errors(include_url=False)
        faults = [fault_of(entry, tuple(entry["loc"]), False, source) for entry in entries]
        raise InputError(locate(faults, source)) from None


def digest(job: Job, record: Mapping[str, Any] | None = None) -> str:
    """Return the first eight hexadecimal digits of the SHA-256 of job and record in canonical JSON.

    `record` are further keys that count, such as those of the as-cut record.
    """
    return digest_of({**resolved_dict(job), **(record or {})}, record=tuple(record or ()))


def digest_of(
    resolved: Mapping[str, Any], *, beside: Collection[str] = (), record: Collection[str] = ()
) -> str:
    """Return the same from the content of a `job.resolved.json`.

    `record` names the keys that count although they are not the job's, `beside` keys that do not
    count.
    """
    aside = {KEY, *beside, *record}
    content: dict[str, Any] = {
        "job": {key: value for key, value in resolved.items() if key not in aside}
    }
    counted = {key: resolved[key] for key in record if key in resolved}
    if counted:
        content["record"] = counted
    text = json.dumps(
        content, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:8]
