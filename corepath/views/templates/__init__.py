"""Templates at full size as DXF and SVG."""
