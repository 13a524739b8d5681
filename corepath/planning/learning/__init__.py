"""What the records of boards that were cut tell about machine, bed, cutters and touch."""
