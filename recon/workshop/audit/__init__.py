"""A built frame compared with its plan."""
