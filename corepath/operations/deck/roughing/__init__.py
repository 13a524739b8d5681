"""Roughing the deck in level layers, and what of their lines is needed."""
