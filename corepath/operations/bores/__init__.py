"""Paths of seats and bores."""
