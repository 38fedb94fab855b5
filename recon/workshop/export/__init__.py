"""A frame written for other programs."""
