"""A build on the disk: its folder, journal, photos and what was found in them."""
