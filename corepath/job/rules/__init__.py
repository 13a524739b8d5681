"""Rules for the keys of a job, contradictions and limits, that need no geometry."""
