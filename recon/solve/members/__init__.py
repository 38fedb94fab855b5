"""From evidence to members: which lines hold one, where two overlap, where they end, which bolts are seen.

Modules, in the order of the method:

- ``lines``: lattice lines on which members are sought.
- ``stretches``: the stretch of a line with most evidence.
- ``laps``: evidence for a member among others, where bolts at its laps may cover openings.
- ``overlaps``: which of two members that overlap gives way.
- ``line_reach``: where in the photos a line's openings may be found.
- ``selection``: members from lines, one explanation for each detection.
- ``gaps``: members in line with a gap between them, taken for one.
- ``colours``: colours of a picture at given points.
- ``edges``: changes of colour across a member's faces.
- ``ends``: where a member starts and stops.
- ``head_colour``: a bolt's head by its colour.
- ``lengths``: ends judged together, by those of parallel members.
- ``bolts``: bolts at laps.
"""
