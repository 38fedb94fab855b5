"""Which members and bolts a frame is made of, what is on the rack, and what the rest costs."""
