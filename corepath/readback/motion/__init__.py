"""How the cutter goes about it: ways down, feeds, stops, how hard it works."""
