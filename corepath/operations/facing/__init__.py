"""Paths that plane a face, and ways round what stands on the blank."""
