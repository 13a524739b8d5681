"""A program that goes on from one line of another, and its proof."""
