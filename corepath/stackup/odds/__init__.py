"""How likely a core comes out: the stack-up with its errors drawn at random."""
