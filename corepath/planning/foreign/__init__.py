"""What a file that corepath did not write is read with."""
