"""What people see of a frame: overlays on photos, the picture in space, the summary.

overlay         one photo with what was read in it
overlay_legend  the strip below an overlay that explains its marks
row_counts      rows with their hole counts: a table, and drawn over a photo
picture         the picture of the frame in space
picture_camera  the parallel projection of that picture, and which face is in front at each pixel
motion          a picture of one way in which a frame racks or folds
summary         a frame in words
camera_path     the way of a video's camera round the frame, in words
gallery         a folder of builds as a static site
exports         the picture and the summary among what a frame can be written as

marks           lines, ellipses, text on plates, and where plates go
colours         the colours of them all
"""
