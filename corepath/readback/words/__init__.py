"""Words of a file that an operator obeys: heads, comments, zeros, rehearsals."""
