"""The least time of any path for a work: what minutes are compared with."""
