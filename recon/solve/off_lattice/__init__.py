"""Braces and other members that do not lie on the lattice."""
