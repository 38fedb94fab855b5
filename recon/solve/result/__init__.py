"""From a solved scene to a frame in hole counts, and what is said about it.

In the order of the method:

- ``end_choices``: where an end that is not sure may be, with chances
- ``plane_or_frame``: whether planes of openings explain all that the members do
- ``refusal``: why no frame is claimed, what was seen and what to do
- ``squareness``: how far the frame is racked and each member off its place, from all openings together
- ``confidence``: how probable it is that a member is exactly right
- ``frame``: the frame file's content: members with ends and confidence, joints, stock, doubts
- ``visits``: a member that some photos show in one place and others in another
- ``stock``: size in millimetres, from the ratios that the photos show or one measured length
- ``viewpoints``: from where to photograph next
- ``tables``: openings, rows and cameras of each photo in its own pixels, for overlays and the page
"""
