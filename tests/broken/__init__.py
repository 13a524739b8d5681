"""Arithmetic broken on purpose, one place at a time, to see whether a test says so: `python -m
tests.broken`."""
