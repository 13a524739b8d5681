"""The deck from files that the job names: meshes and grids of heights."""
