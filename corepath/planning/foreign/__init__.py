"""Reading a file that corepath did not write: its options, and the blank that it cuts."""
