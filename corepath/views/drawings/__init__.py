"""Drawings of operations and the overview."""
