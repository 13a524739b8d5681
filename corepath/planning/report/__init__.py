"""What `report.json` and `geometry.json` say."""
