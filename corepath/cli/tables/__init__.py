"""Tables that commands print: at most 80 columns wide, plain text in a pipe."""
