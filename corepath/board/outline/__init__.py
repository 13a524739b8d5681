"""The outline of the board as a polygon, from stations, points or a DXF file."""
