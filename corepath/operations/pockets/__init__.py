"""Paths that clear groove and pockets to a level floor."""
