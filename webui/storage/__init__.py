"""A build on the disk: its folder, journal, photos and what was found in them.

build          a build: a folder with photos, journal and frame file; changes, undo and redo
journal        every change, in one append-only file
work           ticks, notes and photos at steps, and named versions, in a journal of their own
step_photos    photos that are taken at steps
rescue         a build with a damaged journal, copied up to the damage
photo_store    the photos: taken in, checked and cut into levels
video_store    videos: their pictures are chosen and taken in as photos
job_status     how something stands that is done in the background
reading_cache  what was found in photos, kept; the call of the solver
pace           how long readings take on this machine
recent         the builds that were opened last
plan           the plan that the build is compared with
system         what operating systems do differently
"""
