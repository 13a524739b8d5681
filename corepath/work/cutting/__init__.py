"""Which cutter does what, how it is run, and what load that puts on it."""
