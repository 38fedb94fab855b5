"""What a person's corrections mean: the state of a build, the kinds of edits, and how a new reading is merged with them."""
