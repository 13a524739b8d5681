"""Maps of the blank, and height fields prepared for drawing."""
