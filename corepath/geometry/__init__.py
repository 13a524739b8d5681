"""Shapes of the plane and of space that know nothing of a board, a job or a machine."""
