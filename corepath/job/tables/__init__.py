"""Built-in tables, each figure with its source: hardware, woods, resins, threads, how wood is
cut."""
