"""The set-up sheet: one HTML file for the person at the machine, a page for each step of the work.

It is made from the plan's own objects and calculates nothing a second time. It loads nothing from
the network, prints in black and white on A4 and Letter, and keeps ticks and figures in the browser
under the plan's digest.
"""

from corepath.views.sheet_html.facts import Facts, PlannedFile
from corepath.views.sheet_html.sheet_file import pages, sheet_html

__all__ = ["Facts", "PlannedFile", "pages", "sheet_html"]
