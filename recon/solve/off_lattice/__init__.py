"""Members off the lattice: braces at an angle, and members along an axis that are off by part of a pitch.

In the order of the method:

- ``braces``: the search from beginning to end
- ``search``: the frame solved so far and the members found; evidence and room along a line
- ``lines``: lines of holes at any angle, and how deep a member on one lies in boxes
- ``pinned_lines``: lines on which a brace could be pinned to two members
- ``free_lines``: lines of openings on planes at which a member could touch another
- ``line_fit``: a line adjusted to its openings; does it fit the lattice after all?
- ``line_ends``: where a member on a line starts and stops
- ``brace``: what is found (``Brace``), and its member in the frame
"""
