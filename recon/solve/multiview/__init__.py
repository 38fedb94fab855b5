"""Several photos together: registration in one world, and the rounds over them."""
