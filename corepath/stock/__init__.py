"""The virtual blank: columns of wood and casting, cut along the motions that were read."""
