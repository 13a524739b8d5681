"""Verdicts on the relations of the stack-up."""
