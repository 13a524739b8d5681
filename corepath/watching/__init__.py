"""Plan again whenever the job or a file that it names is saved, and show the result in a page.

Terms: the *inputs* are the job file and all files that it names; a *notice* is the message about
the last run that is sent to the page.
"""

from corepath.watching.changes import Changes
from corepath.watching.inputs import inputs_of
from corepath.watching.loop import Superseded, keep_making
from corepath.watching.notice import Notice, NoticeBoard
from corepath.watching.server import PageServer, serving

__all__ = [
    "Changes",
    "Notice",
    "NoticeBoard",
    "PageServer",
    "Superseded",
    "inputs_of",
    "keep_making",
    "serving",
]
