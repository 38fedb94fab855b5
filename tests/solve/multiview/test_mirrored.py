"""Mirrored photos are named, and no others."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from recon.solve.multiview.mirrored import is_mirrored, name_mirrored
from recon.solve.photo.read_photo import read_photo
from tests.growing import grow_frame
from tests.solve.scenes import SIZE, camera_round, candidates_of, photo_of, scene_of, shoot


@cache
def frame_and_shots(seed=1):
    frame = grow_frame(seed, 8, holes=(6, 13))
    return frame, [shoot(frame, camera_round(frame, a, 22), seed + a) for a in (30, 85)]


def mirror_image(openings):
    """What the detector finds in the picture flipped left to right."""
    out = openings.copy()
    out["x"] = SIZE[0] - 1 - out["x"]
    out["angle"] = -out["angle"]
    return out


def known_scene():
    """The frame as one photo shows it, with a second one set aside."""
    frame, shots = frame_and_shots()
    scene = scene_of([photo_of(shots[0], "front.jpg")], candidates_of(frame))
    return replace(scene, set_aside=(("side.jpg", "another frame?"), ("wall.jpg", "no rows")))


@pytest.mark.parametrize("mirrored", [True, False])
def test_only_a_mirrored_photo_is_called_so(mirrored):
    openings = frame_and_shots()[1][1].openings
    openings = mirror_image(openings) if mirrored else openings
    reading = read_photo("side.jpg", openings, SIZE, 1300.0, 1.0)
    scene = known_scene()
    assert is_mirrored(scene, reading) is mirrored
    reasons = dict(name_mirrored(scene, [reading]).set_aside)
    assert reasons["wall.jpg"] == "no rows"
    assert ("mirror image of what front.jpg shows" in reasons["side.jpg"]) is mirrored


def test_a_photo_without_a_lattice_is_not_called_mirrored():
    nothing = read_photo("side.jpg", np.zeros(0, frame_and_shots()[1][0].openings.dtype), SIZE, None)
    assert not is_mirrored(known_scene(), nothing)
