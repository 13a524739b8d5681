"""What the keys of a job contradict or exceed, seen without any geometry."""
