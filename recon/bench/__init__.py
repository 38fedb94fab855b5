"""What the project measures of itself: `python -m recon.bench NAME`.

confidence     whether members called sure are right, and the curve that makes it so
reading        how well frames are read, against truth
video          how well frames are read from videos walked round them, beside photos
nothing        what is claimed of pictures that show no frame
again          what corrections are worth when the photos are read again
audit          the audit on random frames with one random change each
cutting_solver  cut lists against another solver
cutting        cut lists: gap to the bound, and against first-fit decreasing
targets        what a reading takes, as ratios; how it grows with pixels, photos and members
growth         how the time of a reading grows with members, on made-up openings
checks         the time that checks take on large frames
steps          build steps of random frames, checked by other means
papers         the time that all papers take

reading_table  the figures of readings, as a table
score          a frame against its truth
gravity        what of build steps cannot be done on a floor
random_frames  random frames that could be built
scaffold       scaffolds of any size
memory         peak memory
made_photos    made-up photos of frames: openings, and drawn pictures
"""
