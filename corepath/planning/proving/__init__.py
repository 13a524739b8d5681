"""Files of a plan read back, on all blanks that the job allows, and rehearsed."""
