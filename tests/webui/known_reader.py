"""Stands for the solver: the frame of a sample's truth file with mistakes in it, found by the names of its
photos.

The truth lies in `truth.json` of the folder that the environment variable KNOWN_FRAME names.  Mistakes: the
first member is one hole too long, the second lies a hole too low, the last is missing; unless `given` is
there: then, as a solver would that found no better, it reads the same again.
"""

import json
import os
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from recon.errors import ReconError
from recon.frame.joints import find_joints
from recon.geometry.camera import Camera
from tests.truth import frame_from_truth

SLOW = "KNOWN_FRAME_SLOW_S"


def true_frame():
    return frame_from_truth(json.loads((Path(os.environ["KNOWN_FRAME"]) / "truth.json").read_text()))


def wrong_frame():
    """The true frame with three members wrong: A too long, B shifted along itself, the last missing."""
    frame = true_frame()
    a, b, *rest = frame.members
    members = (
        replace(a, holes=a.holes + 1, confidence=0.6),
        replace(b, first=tuple(map(float, b.hole_centre(-1))), confidence=0.7),
        *rest[:-1],
    )
    return replace(frame, members=members, joints=find_joints(members), name="")


def read(photos, *, stocks, stock_id=None, length=None, progress=None, given=None, found=None):
    """A Reading, as `recon.solve.read` gives it."""
    frame = wrong_frame()
    names = [p.name for p in photos]
    for k, name in enumerate(names):
        progress(f"reading {name}", k / len(names))
        time.sleep(float(os.environ.get(SLOW, "0")))
    known = [p for p in frame.photos if p.file in names]
    if not known:
        raise ReconError("No frame could be read from these photos.")
    cameras = {
        p.file: Camera(**{k: np.array(v) if k in "Rt" else v for k, v in p.camera.items()}) for p in known
    }
    centres = {n: c.project(np.vstack([m.hole_centres() for m in frame.members])) for n, c in cameras.items()}
    openings = {
        n: np.column_stack([xy, np.full((len(xy), 2), 5.0), np.zeros((len(xy), 2))])
        for n, xy in centres.items()
    }
    return SimpleNamespace(
        frame=replace(frame, photos=tuple(known)),
        openings=openings,
        rows={n: [] for n in cameras},
        cameras=cameras,
        set_aside=[],
    )
