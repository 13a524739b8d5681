"""The blank as it was measured: maps with what is not known, and where to measure."""
