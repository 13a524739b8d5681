"""The as-cut record: what was measured at the machine, by what rules, and what that settles."""
