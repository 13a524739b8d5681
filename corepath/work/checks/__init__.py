"""The checks that need works and cutters, but no path."""
