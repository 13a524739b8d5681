"""Paths over the deck: roughing, finishing, and the drop-cutter heights that both follow."""
