"""The read-back: files read as a stranger would, cut on a virtual blank, measured against the
work."""
