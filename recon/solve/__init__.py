"""Solving: one photo, photos together, adjust, look again."""

from recon.solve.reading import Reading, read

__all__ = ["Reading", "read"]
