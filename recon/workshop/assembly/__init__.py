"""In which order a frame goes together, so that every member and every tool gets there.

- `tool_access`: whether a bolt can be put in and turned among what is in place
- `disassembly`: an order of parts, found by taking the whole apart
- `canonical_twin`: the frame as it is whichever way it stands and whatever its members are called
- `sub_frames`: flat groups that are built by themselves first
- `steps`: the build steps of a frame
- `step_words`: the steps in words
- `shots`: from which corner a step is shown, and how much of the frame
- `picture_items`: what is drawn in the picture of a step
- `picture_part`: pictures of a part of a frame, with a little one of the whole
- `picture`: the picture of one step
"""
