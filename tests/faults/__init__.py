"""A bench of planted faults: what the read-back must find, judged by a loop that shares no code
with it."""
