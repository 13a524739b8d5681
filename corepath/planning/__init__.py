"""Planning: the whole chain from a job file to a folder of files that have been read back."""

from corepath.planning.folder.plan_folder import Written
from corepath.planning.folder.solids import write_solids
from corepath.planning.plan import Plan, plan, preview
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.planning.progress import Progress, quiet, within
from corepath.planning.proof import Proof, prove
from corepath.planning.questions import (
    measuring_path,
    passes,
    pour_sheet,
    stops,
    suggestion,
    write_measuring,
)
from corepath.planning.reading import Reading, read_folder
from corepath.planning.report.full_report import checks_report

__all__ = [
    "Plan", "Prepared", "Progress", "Proof", "Reading", "Written", "checks_report",
    "measuring_path", "passes", "plan", "pour_sheet", "prepare", "prepare_job", "preview", "prove",
    "quiet", "read_folder", "stops", "suggestion", "within", "write_measuring", "write_solids",
]  # fmt: skip
