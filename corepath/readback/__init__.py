"""The read-back: files read independently of the plan, cut on a virtual blank, and compared with
the work."""
