"""Checks of what the files leave against the works: walls, floors, holes, the deck."""
