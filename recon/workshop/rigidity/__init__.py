"""Whether a frame holds its shape: its free motions, and what would stop them."""
