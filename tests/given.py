"""What several tests ask and the package itself does not: a job from a text, contrasts."""

from __future__ import annotations

from corepath.errors import InputError
from corepath.job.load import check_source
from corepath.job.model import Job
from corepath.job.text.source import parse


def load_text(text: str, file: str) -> Job:
    """The job in this text; `file` is the name used in messages. Raises `InputError` with all
    faults."""
    source, faults = parse(text, file)
    job, faults = (None, faults) if source is None else check_source(source)
    if job is None or faults:
        raise InputError(faults)
    return job


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two `#rrggbb` colours, 1 to 21 (WCAG 2 definition of relative
    luminance)."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
