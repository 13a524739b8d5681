"""Which cutter does what, how it is run, and what that asks of it."""
