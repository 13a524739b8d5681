"""The least time that any path for a work could take: what minutes are held against."""
