"""RS-274 as text, written and read; neither side knows of a board, and neither of the other."""
