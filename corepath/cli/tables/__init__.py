"""Tables that commands print: at most 80 columns, plain text in a pipe."""
