"""What a person's corrections of a frame mean, and how a new reading is merged with them.

model          what a person says, as typed values: `Corrections`
codec          JSON of members, laps, photos and corrections, as the journal has them
state          a build at one moment, and the difference between two moments
validation     what a page requests, checked
members        labels, lines, members in place of others
laps           laps kept right while members change
fittings       fittings kept right while their members change
users_word     the user's word: how it is given, and the function that upholds it
disagreements  where the user and the photos disagree
edits          the kinds of edits
solver         what the solver takes and gives of corrections
merge          a new reading merged with a corrected frame
describe       what lies between two versions, in words
unlikely_ends  ends that a frame's own structure makes unlikely
review         the queue of doubts
on_photos      where members and fittings lie in photos
fitting_trial  a fitting as it would be, before it is put on
by_hand        camera and members that rows drawn by hand mean, taken into a frame
strokes        which member a stroke on a photo may mean
copy_places    what copies of members come to before they are placed
space_strokes  which member a line drawn in 3-D may mean
measuring      the size by one measured length
picking        openings picked on a photo, to measure between
plan_audit     a build compared with its plan
"""
