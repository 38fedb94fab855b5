"""The geometry that all floors share: the camera, ellipses, boxes, lattice places.  Knows arrays, no frames."""
