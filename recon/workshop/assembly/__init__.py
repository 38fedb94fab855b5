"""In which order a frame goes together, so that every member and every tool gets there."""
