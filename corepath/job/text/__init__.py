"""The text of a job: read and written whole, positions of its keys, the forms of its files, all
defaults filled in."""
