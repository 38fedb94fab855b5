"""By hand: camera and members of one photo from strokes drawn along its rows, also where a reading failed.

In the order of the method:

- ``row_strokes``: a stroke along a row, and the holes under it: typed, or counted from the openings
- ``stroke_camera``: the camera from two strokes and more, with how well it is known
- ``stroke_places``: where a stroke's row lies in space, and the lattice lines that it may mean
- ``stroke_members``: the members that all strokes mean together, several answers with their chances
- ``neighbours``: members that could be lapped on a known one, under a further stroke
- ``strip``: openings under a stroke, looked for in the strip of the photo along it
- ``on_frame``: a photo's camera by hand in the world of a frame that is known
"""
