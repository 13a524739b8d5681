"""Checks of how the cutter moves: plunges and ramps, feeds, stops, load."""
