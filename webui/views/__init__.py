"""The addresses of the page, a blueprint a subject.

page       the page itself, its static files, the build as it stands
photos     photos in, and pictures of them out
videos     videos in, whose pictures become photos
reading    the reading: begun and cancelled
change     corrections, undo and redo; what a stroke, tape, fitting or stretch comes to
by_hand    rows drawn by hand, the camera and members that they mean, members drawn in 3-D
plan       the plan, and the build compared with it
devices    other devices, the phone's own page, where to stand next
assembly   putting the frame together, one step at a time: ticks, notes and photos at steps
versions   named versions: kept, gone back to, compared
downloads  papers, exports, and the whole build in one file
"""
