"""Plane geometry that does not depend on board, job or machine."""
