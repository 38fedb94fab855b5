"""One photo by itself: vanishing points, rows along the axes, lattice and camera.

In the order of the method:

- ``read_photo``: the stages one after another
- ``bordered``: the same of a picture within borders that no camera saw
- ``photo_reading``: what one photo gives, with its rival solutions
- ``row_points``: rows as padded arrays, and their places once camera and direction are known
- ``vanishing_points``: focal length, lens and rotation from three perpendicular directions
- ``turned_axes``: cameras turned round the one direction that rows tell well
- ``row_tilt``: rows of members bolted by hand run a little off the axes
- ``camera_samples``: cameras drawn from what the vanishing points leave open
- ``hole_size``: apparent diameter of the holes in pitches
- ``axis_rows``: rows along the camera's axes, equal steps of a cotangent
- ``progressions``: equal steps grown from many pairs of openings at once
- ``placed_rows``: these rows in space, with uncertainty, faces and the width that twins show
- ``photo_lattice``: the lattice that all rows agree on, and the lattice lines each may lie on
- ``shared_focal``: pictures of one video share their focal length
- ``photo_choice``: of one photo's solutions the one whose members explain most of it
- ``resection``: the camera from known points
- ``beyond_planes``: what is read of a frame before tiles and dots
- ``clutter_rows``: how strong rows of clutter are in a photo
- ``plane_pattern``: openings that repeat in two directions on one plane: dots, tiles, perforated sheet
- ``plane_camera``: how far such a plane says the focal length
"""
