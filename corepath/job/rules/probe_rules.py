"""Keys of a probe that contradict each other. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator

from corepath.job.model import MachineSection
from corepath.job.text.positions import Path

__all__ = ["probe_contradictions"]

LARGEST_TIP = 12.0
"""mm; a larger ball is a slip of the pen (common practice, no source)."""
LARGEST_PLATE = 60.0
"""mm; the same of a plate, or of a sensor in its place."""


def probe_contradictions(machine: MachineSection) -> Iterator[tuple[Path, str, str]]:
    """Yield what the keys of a probe contradict: path, what is wrong, what is allowed."""
    if machine.probe == "none":
        yield from _without(machine)
        return
    if machine.probe_tip is None and machine.probe_plate is None:
        says = "needs the size of what touches: the ball of a probe, a plate, or both"
        yield ("machine", "probe"), says, "machine.probe_tip or machine.probe_plate beside it"
    if machine.probe == "zero":
        yield from _setting(machine)
    for name, size, largest in (
        ("probe_tip", machine.probe_tip, LARGEST_TIP),
        ("probe_plate", machine.probe_plate, LARGEST_PLATE),
    ):
        if size is not None and size > largest:
            yield ("machine", name), "is too large to be meant", f"at most {largest:g} mm"
    held = machine.length_offset and machine.probe_tip is not None
    if held and machine.probe_number is None:
        says = "with length_offset the probe has a length of its own in the control's table"
        yield ("machine", "probe_tip"), says, "machine.probe_number beside it"
    if machine.probe_number is not None and not held:
        says = "calls the length of a probe, which only length_offset asks for"
        yield ("machine", "probe_number"), says, "length_offset = true and probe_tip beside it"


def _without(machine: MachineSection) -> Iterator[tuple[Path, str, str]]:
    for name in ("probe_reports", "probe_tip", "probe_plate", "probe_number"):
        if getattr(machine, name) is not None:
            says = "goes with a probe only"
            yield ("machine", name), says, 'machine.probe = "stop" or "zero"'


def _setting(machine: MachineSection) -> Iterator[tuple[Path, str, str]]:
    """Yield why a file may not set zero: a wrong guess would put it where no one sees it."""
    if machine.probe_reports is None:
        says = (
            '"zero" counts with the touched place as the control keeps it, and controls differ: '
            "some keep it in work coordinates, some in those of the machine"
        )
        yield ("machine", "probe"), says, 'probe_reports = "work" or "machine", by its handbook'
    elif machine.probe_reports == "machine" and machine.length_offset:
        says = (
            "machine coordinates of a touch lack the length that the control adds: no file can set "
            "Z by them"
        )
        yield ("machine", "probe_reports"), says, 'probe = "stop" with length_offset'
