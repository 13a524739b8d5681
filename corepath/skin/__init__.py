"""The pre-made skin that will lie on the deck: how it bends, what presses it down, what its double
curvature does.

Loaded only for a job with `[skin]`. Board frame, mm: X along the length, Y across, Z up from the
finished bottom.
"""
