"""What photos say for and against a candidate member, in nats.

Modules, in the order of the method:

- ``camera_prior``: what is known of a photo's camera and of the frame's squareness beforehand.
- ``posed_photo``: a photo with its camera on the lattice, and what each of its detections is worth.
- ``predictions``: predicted openings against a photo's detections.
- ``own_place``: how far a member of a frame bolted by hand is off its line.
- ``heads``: heads and nuts of bolts at predicted openings.
- ``candidate``: a member being solved and its two ends.
- ``occluders``: what may stand in front of an opening.
- ``scene``: photos, pictures, width and candidates as one value, which the stages take and give back.
- ``along_line``: what all photos say along a line of holes.
- ``many_lines``: the same along many lines at once.
- ``kept_looks``: the same where members take their detections meanwhile, without looking anew.
- ``floor``: the floor under a frame, which stands still: nats for photos that show it alike.
- ``unknown_occluders``: runs of openings that something unknown hides.
"""
