"""Ways in which a frame can rack or fold, what else is wrong with it, and what to add against that.

- `null_space`: the rates at which the bolts of one block can turn together
- `mechanism`: the ways to move that a frame's bolts leave
- `motion_words`: a way to move in words
- `displacement`: the frame moved along a way to move, for a picture
- `playback`: a way to move as it is shown moving, to and fro, and how far that is
- `added_constraints`: what a bolt or a member more does to the ways to move
- `free_space`: whether a new member and its bolts have room in a frame
- `possible_members`: members that could be added: along an axis, and braces at an angle
- `play`: how far a frame still gives because of the play of its bolts
- `bracing`: what to add so that a frame does not rack
- `moved_members`: which member to move by a hole so that a brace fits
- `bolt_conflicts`: bolts that cross, or whose ends have no room
- `findings`: what is wrong with a frame before it is built, one thing at a time
- `fitting_findings`: what is wrong with fittings
- `frame_check`: all of it together, and the report
"""
