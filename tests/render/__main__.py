"""`python -m tests.render FOLDER FIRST LAST`: make frames FIRST to LAST - 1 of the endless data set.

`--kind clip` makes films walked round them, each beside three photos of the same frame.
"""

import argparse
import time

import numpy as np

from .clip import make_clip
from .kinds import KINDS
from .make import make_frame

parser = argparse.ArgumentParser(prog="python -m tests.render", description=__doc__)
parser.add_argument("folder")
parser.add_argument("first", type=int)
parser.add_argument("last", type=int)
parser.add_argument("--cuda", action="store_true", help="render with CuPy on a CUDA device")
parser.add_argument("--spp", type=int, default=16, help="rays a pixel")
parser.add_argument("--kind", choices=[*KINDS, "clip"], default="plain", help="see tests/render/kinds.py")
parser.add_argument("--photos", type=int, help="photos (frames of a film), instead of the kind's own number")
parser.add_argument("--long-side", type=int, help="pixels, instead of each frame's own")
parser.add_argument("--drawn", action="store_true", help="films: without light, in a small part of the time")
parser.add_argument("--seconds", type=float, default=1e9, help="start no further frame after this long")
args = parser.parse_args()
xp = np
if args.cuda:
    import cupy as xp
start = time.monotonic()
for number in range(args.first, args.last):
    if time.monotonic() - start >= args.seconds:
        break
    if args.kind == "clip":
        make_clip(number, args.folder, xp, args.spp, args.photos, args.long_side, drawn=args.drawn)
    else:
        make_frame(number, args.folder, xp, args.spp, args.photos, args.long_side, kind=args.kind)
