"""All that a stranger needs to build a frame, as PDF and as one HTML file."""
