"""corepath: from the design of a laminated board's wood core to G-code that has been read back.

    import corepath

    job = corepath.load("board.toml")       # or InputError, with every fault in the file
    corepath.check(job).checks              # does every depth agree with every other?
    corepath.plan(job).write("board-plan")  # G-code, drawings, sheet and report
    corepath.read_back("board-plan").failed

`docs/api.md` has an example of each. What is named in `__all__` is the public interface; it is
loaded when it is first asked for, so that `import corepath` itself takes no time. All else may
change from one version to the next.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

__version__ = "0.1.0"

__all__ = [
    "Check", "Checked", "CorepathError", "Fault", "Finding", "InputError", "Job", "MadeFile",
    "Measure", "OutputError", "Plan", "Prepared", "Progress", "ReadBack", "Reading", "Written",
    "__version__", "check", "load", "plan", "read_back",
]  # fmt: skip

if TYPE_CHECKING:
    from corepath.errors import CorepathError, Fault, InputError, OutputError
    from corepath.gcode.read.findings import Finding
    from corepath.job.model import Job
    from corepath.planning.folder.plan_folder import Written
    from corepath.planning.interface import Checked, check, load, plan, read_back
    from corepath.planning.make import MadeFile
    from corepath.planning.plan import Plan
    from corepath.planning.prepare import Prepared
    from corepath.planning.progress import Progress
    from corepath.planning.proving.reading import Reading
    from corepath.readback.result import ReadBack
    from corepath.readback.surfaces.measures import Measure
    from corepath.stackup import Check
else:
    _HOMES = {
        "corepath.errors": ("CorepathError", "Fault", "InputError", "OutputError"),
        "corepath.job.model": ("Job",),
        "corepath.planning.folder.plan_folder": ("Written",),
        "corepath.planning.interface": ("Checked", "check", "load", "plan", "read_back"),
        "corepath.planning.make": ("MadeFile",),
        "corepath.planning.plan": ("Plan",),
        "corepath.planning.prepare": ("Prepared",),
        "corepath.planning.progress": ("Progress",),
        "corepath.planning.proving.reading": ("Reading",),
        "corepath.gcode.read.findings": ("Finding",),
        "corepath.readback.surfaces.measures": ("Measure",),
        "corepath.readback.result": ("ReadBack",),
        "corepath.stackup": ("Check",),
    }

    def __getattr__(name):
        from importlib import import_module

        for home, names in _HOMES.items():
            if name in names:
                return getattr(import_module(home), name)
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")

    def __dir__():
        return sorted({*globals(), *__all__})
