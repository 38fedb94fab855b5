"""Solving: from photos to a frame in hole counts.

Rooms, in the order of the method:

- ``evidence``: what photos say for and against a candidate member; the scene that the stages hand on.
- ``photo``: all that one photo tells by itself.
- ``members``: which lines hold members, where two overlap, where they end.
- ``multiview``: photos registered in one world, and the rounds over them.
- ``priors``: the user's corrections and the plan, kept and used.
- ``off_lattice``: braces and other members that do not lie on the lattice.
- ``by_hand``: camera and members from strokes along rows, also where a reading failed.
- ``result``: from the scene to the frame, its stock, and where to photograph next.
- ``debug``: pictures of the stages.

``each_photo``: each photo read by itself, several at a time in processes.
``reading`` is the method from beginning to end.
"""

from recon.solve.reading import Reading, read

__all__ = ["Reading", "read"]
