"""From solved members to the frame that is returned: labels, stock, doubts, where to photograph next."""
