"""The preview: one HTML page that plays each file over the blank it cuts.

Its motions are those that the read-back read from the text, its heights those of the virtual blank
before, while and after each file runs, its times those of the clock. It asks for nothing from the
network.
"""

from corepath.views.player.play_model import (
    DWELL,
    RAPID,
    SPINDLE,
    STOP,
    Cuts,
    Faces,
    Lattice,
    Motions,
    PlayedBlank,
    PlayedFile,
    Shape,
)
from corepath.views.player.preview_page import PageHead, preview_html

__all__ = [
    "DWELL",
    "RAPID",
    "SPINDLE",
    "STOP",
    "Cuts",
    "Faces",
    "Lattice",
    "Motions",
    "PageHead",
    "PlayedBlank",
    "PlayedFile",
    "Shape",
    "preview_html",
]
