"""What the project measures of itself: `python -m recon.bench NAME`."""
