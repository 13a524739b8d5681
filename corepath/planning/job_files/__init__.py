"""Job files that commands write: changed in place, begun anew, copied from another."""
