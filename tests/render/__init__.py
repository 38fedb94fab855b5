"""Made photographs with exact truth: random frames, a small path tracer, cameras, truth files.

A developer's tool, no part of the product.  `python -m tests.render --help` makes whole data sets;
`tests.render.make.quick_frame` makes one small frame in memory for tests.
NumPy is enough; with CuPy on a machine that has a CUDA device the same code runs there.

    clip              films walked round a frame: motion blur, rolling shutter
    make              a frame's folder, or a small frame in memory
    kinds             what each kind of photographs is: plain, handbuilt, web, telephone, closeup, decoy
    drawn             frames drawn without light, for films
    frames            random frames: stock, members, laps, bolts, braces
    build             where the members of a frame built by hand really are
    decoys            things with rows of holes that are no frame
    scenes            a frame with floor, walls, clutter and light
    obstacles         boards on a frame, things before it, what throws shadows on it
    surroundings      floors, sky, lights
    textures          surfaces
    shapes            rays against members, plates, prisms, cylinders, balls, planes
    trace             the path tracer
    cameras           cameras round a frame, and a phone's picture
    viewpoints        cameras of cropped pictures and close-ups
    retouch           what telephones and the web do to a picture
    truth             what a photo shows, for truth.json
    texture_pictures  pictures of a surface alone
"""
