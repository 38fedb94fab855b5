"""Photo loading, openings and rows: pixels in, plain arrays out.

- `photos`: photographs from files, checked and upright
- `timecode`: from which video a picture comes, and from when in it
- `duplicates`: photos that are one exposure
- `borders`: uniform borders round a picture, as of screenshots
- `blobs`: extrema over place and scale, where an opening may be
- `rims`: ellipses fitted to the rims of openings, quickly and closely
- `openings`: small ellipses that stand out from their face, and how densely they lie
- `rows`: openings in a line at projectively regular steps
- `working_copy`: the copy of a photo that openings are looked for in
- `small`: photos made small for papers
- `scales`: openings of a picture of any size, sought where holes are small
- `photo_rows`: openings and rows of one photo with their hole counts
- `rows_file`: these as a file, `rows.json`
- `video`: pictures chosen from videos
"""
