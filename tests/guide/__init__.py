"""Pages of the guide that are generated from tables and models; tests hold docs/ against them."""
