"""The frame and its rules.  It knows no pixels.

- `model`: members, joints, photos and stock as plain values
- `boxes`: members as solid boxes, their faces and openings
- `lattice`: frames turned and shifted, in canonical form, and laid on one another
- `joints`: laps found from the members' places, and the graph that they make
- `stock`: the stock list, and which stock ratios point at
- `length`: lengths as people write and read them
- `tape`: a length measured with a tape between two openings
- `confidence`: from which probability on something counts as sure
- `user_files`: files that users write, read with care
- `files`: the frame file
- `objection`: where photos show something else than a person says
- `caution`: the one caution
"""
