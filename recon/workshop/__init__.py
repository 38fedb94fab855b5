"""Using a frame: parts, rack, cutting, steps, checks, audit, papers. Knows no photos."""
