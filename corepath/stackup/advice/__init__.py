"""What would let a stack-up pass, in numbers."""
