"""The geometry that all floors share.  It knows arrays and no frames.

- `arrays`: names for the kinds of arrays in signatures
- `camera`: projection, its inverse and Jacobians
- `point_grid`: the points nearest to one place
- `trust_region`: robust least squares of a few parameters
- `ellipses`: shapes of openings seen and predicted, compared
- `boxes`: what hides what, and which boxes lie in one another
- `lattice`: rotations of the lattice, and the places that members can take on it
"""
