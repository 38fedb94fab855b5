"""What follows from a frame as it stands, as plain rows for the page: parts, checks, papers."""
