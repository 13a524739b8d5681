"""What would save minutes at the machine, each tried by planning with it; nothing of it is kept."""
