"""Using a frame: parts, rack, cutting, steps, checks, audit, papers. Knows no photos.

- `wording`: numbers, lists, holes and directions in words
- `hardware`: bolts, nuts and washers by standard, the bolts of a frame, and what a section weighs
- `squareness`: how far a built frame is out of square and its members off their places, in sentences
- `solids`: members and bolts as boxes: which overlap, and which meet on their way
- `side_axes`: which way front, back, left and right are
- `sides`: the sides of a frame as people name them
- `frame_size`: a frame's pitch, its members' stock and its holes
- `formats`: the forms that lists are written in
- `confidence_text`: how sure a frame file is, in sentences
- `stretch`: a frame in another size: longer or shorter across a plane
- `parts`: what to buy and what to cut from what is there
- `cutting`: how to cut the members from stock
- `rigidity`: ways to rack or fold, what else is wrong, and what to add
- `drawing`: views of a frame as line drawings
- `assembly`: in which order a frame goes together
- `audit`: a built frame compared with its plan
- `papers`: all papers of a frame in one document
- `export`: a frame in other programs' formats
"""
