"""Bolts at laps: seen by their heads, missing where the hole is open, assumed where neither can be seen."""

from functools import cache

import numpy as np
import pytest

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member
from recon.solve.evidence.posed_photo import make_posed_photo
from recon.solve.members.bolts import HEAD_RADIUS, bolt_states
from tests.solve.drawn import draw
from tests.solve.scenes import HOLE, camera_round, candidates_of, scene_of, shoot

SIZE = (1200, 900)
MEMBERS = (
    Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 11),
    Member("B", (-3.0, -1.0, 5.0), (1.0, 0.0, 0.0), 9),
)
FRAME = Frame(MEMBERS, find_joints(MEMBERS))
(JOINT,) = FRAME.joints
HEAD = np.array([60.0, 60, 60])  # BGR of dark steel on light wood


def outer_face():
    """Centre of the bolted hole on the face of B that is turned to the camera."""
    return MEMBERS[1].hole_centre(JOINT.b_hole if JOINT.b == "B" else JOINT.a_hole) + [0, -0.5, 0]


@cache
def pictured(azimuth=-80):
    """A photo of the frame from the side of B's outer face, and its picture with all holes open."""
    camera = camera_round(FRAME, azimuth, 12, f=1100, size=SIZE)
    shot = shoot(FRAME, camera, 1, found=1.0, clutter=10, size=SIZE)
    return shot, draw(FRAME, camera, SIZE, noise=1.0)


def state(covered, painted, azimuth=-80, candidates=None):
    """The joint's state with the bolted hole left out of the detections, or a bolt's head painted over it."""
    shot, picture = pictured(azimuth)
    picture, o = picture.copy(), shot.openings
    centre = outer_face()
    if covered:
        px = shot.camera.project(centre[None])[0]
        o = o[np.hypot(o["x"] - px[0], o["y"] - px[1]) > 6]
    rows, columns = np.mgrid[: SIZE[1], : SIZE[0]]
    for radius, colour in ((0.30, (150 * 0.55, 175 * 0.55, 190 * 0.55)), (HEAD_RADIUS + 0.04, HEAD)):
        if painted:
            ring = np.linspace(0, 2 * np.pi, 40)
            rim = centre + radius * np.c_[np.cos(ring), 0 * ring, np.sin(ring)]
            low, high = shot.camera.project(rim).min(0), shot.camera.project(rim).max(0)
            middle, half = (low + high) / 2, (high - low) / 2
            picture[((columns - middle[0]) / half[0]) ** 2 + ((rows - middle[1]) / half[1]) ** 2 < 1] = colour
    photo = make_posed_photo("photo", shot.camera, SIZE, o, HOLE)
    scene = scene_of([photo], candidates_of(FRAME) if candidates is None else candidates, 1.0, [picture])
    return bolt_states(scene, FRAME.joints, {m.id: m for m in MEMBERS})


def test_an_open_hole_like_its_neighbours_is_no_bolt():
    assert state(covered=False, painted=False) == ["none"]


def test_a_head_that_stands_out_from_the_face_is_seen():
    assert state(covered=True, painted=True) == ["seen"]


def test_an_even_face_tells_nothing():
    shot, picture = pictured()
    o = shot.openings
    px = shot.camera.project(outer_face()[None])[0]
    photo = make_posed_photo(
        "photo", shot.camera, SIZE, o[np.hypot(o["x"] - px[0], o["y"] - px[1]) > 6], HOLE
    )
    scene = scene_of([photo], candidates_of(FRAME), 1.0, [np.full_like(picture, 128)])
    assert bolt_states(scene, FRAME.joints, {m.id: m for m in MEMBERS}) == ["assumed"]


@pytest.mark.parametrize("covered", [True, False])
def test_a_face_that_another_member_hides_tells_nothing(covered):
    wall = candidates_of(Frame(tuple(Member("W", (x, -3.0, 0.0), (0.0, 0.0, 1.0), 11) for x in range(-9, 9))))
    assert state(covered, covered, candidates=[*candidates_of(FRAME), *wall]) == ["assumed"]
