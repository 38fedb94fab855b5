"""Bolts, nuts and washers by standard, and what a section weighs."""
