"""The text of a job: reading and writing files, positions of keys, schema numbers, the job with all
defaults."""
