"""Results kept on disk from run to run: keys from all that a result depends on, and a folder of
entries that cannot stop a run."""
