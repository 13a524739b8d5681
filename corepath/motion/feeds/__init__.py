"""Feeds and speeds: what a tooth may cut, what that asks of the spindle, and how far the cutter
bends."""

from corepath.motion.feeds.speeds import CuttingData, cutting

__all__ = ["CuttingData", "cutting"]
