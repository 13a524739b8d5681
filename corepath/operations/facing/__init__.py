"""Paths that plane a face, and paths round what stands on the bed."""
