"""Files that cut one place once more."""
