"""A file that corepath did not write, read and cut on a blank."""
