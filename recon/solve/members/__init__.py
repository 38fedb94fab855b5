"""From evidence to members: which lines hold one, where two overlap, where they end, which bolts are seen."""
