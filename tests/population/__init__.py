"""Ordinary jobs drawn from seeds, planned, and cut by arithmetic of our own: `python -m
tests.population`."""
