"""Camera model, photo loading, openings and rows: pixels in, plain arrays out."""
