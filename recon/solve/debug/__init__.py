"""Pictures of the stages of a reading, and the numbers behind them.

- ``stages``: the files written for each photo
- ``photo_pictures``: stages 1 to 4, one photo by itself: openings, rows, axes, lattice
- ``members_picture``: stage 5, the members and what a photo shows of each opening
- ``numbers``: the text beside the pictures
- ``camera_axes``: vanishing points of a camera's axes
- ``sheet``: the muted photo that marks are drawn on, and the strip below it
- ``palette``: colours and names that the pictures share
"""
