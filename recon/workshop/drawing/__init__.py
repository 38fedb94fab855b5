"""Dimensioned line drawings of a frame, to scale."""
