"""Videos walked round a frame: their sharpest pictures from well-spread places, kept as photos.

- `files`: which files are videos, and what can be said of one before it is decoded
- `decoding`: a video's pictures one after another, never all of them in memory
- `movement`: how the camera moved, from points that are followed
- `sharpness`: how sharp each picture is beside its neighbours
- `choice`: few pictures that show the frame from all places that the camera was at
- `chosen`: the pictures chosen from a video, as files
- `worker`: the choice in a process of its own
"""
