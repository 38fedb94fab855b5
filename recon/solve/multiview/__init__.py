"""Several photos together: registration in one world, and the rounds over them.

Modules, in the order of the method:

- ``registration``: the turn and shift of one photo's lattice on others.
- ``cameras``: cameras adjusted to the members.
- ``hypotheses``: all photos in one world; of nearly equal hypotheses the one that explains most.
- ``agreement``: how well photos in one world agree on what is there.
- ``laying``: a photo laid on known members by its rows, whatever lattice it had by itself.
- ``groups``: groups of photos grown from each photo in turn.
- ``rounds``: select members, adjust cameras, look again, find the ends.
- ``self_fits``: of a frame that fits itself after a turn, photos turned until they show one floor.
- ``mirrored``: photos that fit as their mirror images only.
- ``assemble``: the group of photos that show one frame, and its scene.
"""
