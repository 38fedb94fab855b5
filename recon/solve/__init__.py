"""Solving: one photo, photos together, adjust, look again."""
