"""The short sheet: on paper one page a set-up, on a phone one step at a time; its figures go back
to the record together.

It is made from the pages of the set-up sheet, whose ticks and boxes it shares, and calculates
nothing a second time.
"""

from corepath.views.short_sheet.one_page import one_pages
from corepath.views.short_sheet.short_file import short_sheet

__all__ = ["one_pages", "short_sheet"]
