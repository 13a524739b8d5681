"""The bed of a shop: files that face and drill it, each read back."""
