"""Maps of the blank, and heights made ready for drawing."""
