"""The files of `touch/`: zero found with a probe, for the machine of the job."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from corepath.gcode.read.findings import Findings
from corepath.gcode.write.touch_text import write_touch
from corepath.motion.program import Setup
from corepath.operations.touch_paths import touch_program
from corepath.plain_text import sha256_of
from corepath.planning.make import heading_of
from corepath.planning.prepare import Prepared
from corepath.readback.simulation_setup import SimulationSetup
from corepath.readback.touched import TouchAsked, check_touches
from corepath.reported import Key, report_keys
from corepath.work.touching import FOLDER as TOUCH_FOLDER
from corepath.work.touching import TouchWork, Untouched, touch_works
from corepath.work.works import Obstacle

__all__ = ["TOUCH_FOLDER", "TouchFile", "TouchFiles", "read_touches", "touch_files"]


@report_keys(Key("file", "name"), "setup", "sha256")
@dataclass(frozen=True, slots=True)
class TouchFile:
    """One file: `name` with its folder, set-up and text."""

    name: str
    setup: Setup
    text: str

    @property
    def sha256(self) -> str:
        return sha256_of(self.text)


@dataclass(frozen=True, slots=True)
class TouchFiles:
    """All files of a plan, and those that are not made, each with the reason."""

    files: tuple[TouchFile, ...] = ()
    missed: tuple[Untouched, ...] = ()


def touch_files(prepared: Prepared) -> TouchFiles:
    """Return the touch files of what is still to be cut; none without a probe."""
    works, missed = touch_works(prepared.job, prepared.board, prepared.ahead)
    return TouchFiles(tuple(_written(prepared, work) for work in works), missed)


def _written(prepared: Prepared, work: TouchWork) -> TouchFile:
    machine = prepared.job.machine
    program = touch_program(work, machine.probe == "zero")
    heading = heading_of(prepared, work.setup, 0.0)
    text = write_touch(program, heading, machine=machine, units=prepared.job.units)
    return TouchFile(f"{TOUCH_FOLDER}/{work.stem}.nc", work.setup, text)


def read_touches(
    prepared: Prepared,
    shop: SimulationSetup,
    texts: Mapping[str, str],
    sha256: Mapping[str, str] | None = None,
    plan: str = "",
) -> Findings:
    """Read back the touch files of a plan; see `check_touches`."""
    machine = prepared.job.machine
    works, _ = touch_works(prepared.job, prepared.board, prepared.ahead)
    obstacles: dict[str, Sequence[Obstacle]] = {
        work.setup: work.obstacles for work in prepared.works
    }
    asked = TouchAsked(
        machine.probe == "zero", machine.probe_reports or "work", prepared.job.units == "inch",
        obstacles,
    )  # fmt: skip
    return check_touches(works, shop, asked, texts, sha256, plan)
