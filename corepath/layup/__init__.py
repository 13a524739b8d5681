"""The board as it lies after lay-up: the rocker's curve, where the flat core ends up on it,
templates and form."""
