"""From a few photographs of a frame of drilled, bolted square members to a frame file in hole counts."""

__version__ = "0.2.0"
