"""Photographs: loading, camera, openings, rows. Knows no files but photos."""
