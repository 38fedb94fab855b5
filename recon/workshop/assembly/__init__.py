"""In which order a frame goes together, so that every member and every tool gets there.

- `tool_access`: whether a bolt can be put in and turned among what is in place
- `disassembly`: a frame as solids, and which of its parts comes free
- `support`: what holds a part up: the floor, two laps, or a hand
- `ordering`: the order in which parts come together on the floor
- `canonical_twin`: the frame as it is whichever way it stands and whatever its members are called
- `sub_frames`: flat groups that are built by themselves first
- `plan`: which way round, and in what parts, it is put together with the fewest hands
- `square`: diagonals that must be equal
- `steps`: the build steps of a frame
- `step_words`: the steps in words
- `build_step`: one step, as plain values
- `fitting_room`: ways to bring fittings in, room for their bolts, and for what comes later
- `fitting_steps`: steps in which fittings are put on
- `fitting_words`: how fittings are put on, in sentences
- `hand_words`: what a hand must hold, and until when
- `lifts`: what is lifted in each step, what it weighs, how long the work takes
- `shots`: from which corner a step is shown, and how much of the frame
- `picture_items`: what is drawn in the picture of a step
- `picture_part`: the little picture of the whole in pictures of a part of a frame
- `picture`: the picture of one step
- `stage`: that picture with the side up that is up in the step
- `record`: what is kept while it is put together: ticks, notes and photos at steps
- `progress`: how far it is put together: ticks held against the frame as it is now
"""
