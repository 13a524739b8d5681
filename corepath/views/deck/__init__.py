"""Sheets of the deck, of the casting in it and of the skin on it."""
