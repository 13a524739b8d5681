"""Finishing by combs: close lines over what slopes, wide ones along X over the level rest."""
