"""One photo by itself: vanishing points, rows along the axes, lattice and camera."""
