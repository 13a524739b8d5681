"""A program that continues another from one of its lines, and its proof."""
