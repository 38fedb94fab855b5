"""The frame and its rules.  It knows no pixels.

- `model`: members, joints, photos and stock as plain values
- `fitting`: what is bolted into holes and is no member, as plain values
- `fitting_boxes`: where fittings are in space
- `fitting_entries`: the fittings of a frame file, checked
- `squareness`: how far a built frame is from its lattice: its angles, and its members off their places
- `boxes`: members as solid boxes, their faces and openings
- `lattice`: frames turned and shifted, in canonical form, and laid on one another
- `joints`: laps found from the members' places, and the graph that they make
- `loops`: loops of laps, and whether their hole numbers agree
- `stock`: the stock list, and which stock ratios point at
- `usual_stock`: the workshop's usual stock, in the user's settings
- `length`: lengths as people write and read them
- `tape`: a length measured with a tape between two openings
- `entries`: ends and joints as the plain values of a frame file
- `confidence`: from which probability on something counts as sure
- `user_files`: files that users write, read with care
- `files`: the frame file
- `objection`: where photos show something else than a person says
- `caution`: the one caution
"""
