"""The contents of `report.json` and `geometry.json`."""
