"""The pour: volumes, mixing, how low or proud the resin may lie, what planes it off or tops it
up."""
