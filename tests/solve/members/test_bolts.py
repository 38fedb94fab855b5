"""Bolts at laps: seen by their heads, missing where the hole is open, assumed where neither can be seen."""

from functools import cache

import numpy as np
import pytest

from recon.bench.made_photos import draw
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member
from recon.solve.evidence.posed_photo import make_posed_photo
from recon.solve.members.bolts import bolt_states, state_of
from recon.solve.members.head_colour import HEAD_RADIUS
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


# By the detection alone: its size and place


CORNER = (
    Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 11),
    Member("B", (-4.0, -1.0, 5.0), (1.0, 0.0, 0.0), 9),
    Member("C", (1.0, -4.0, 6.0), (0.0, 1.0, 0.0), 9),
)
CORNER_FRAME = Frame(CORNER, find_joints(CORNER))


def states_by_shape(frame, grow, raise_by, azimuths=(-80,)):
    """States of all joints where detections at the laps' outer faces are grown and raised off the faces."""
    members = {m.id: m for m in frame.members}
    photos = []
    for azimuth in azimuths:
        camera = camera_round(frame, azimuth, 25, f=1100, size=SIZE)
        o = shoot(frame, camera, 1, found=1.0, clutter=10, size=SIZE).openings.copy()
        for j in frame.joints:
            for m, hole, normal in ((j.a, j.a_hole, -np.array(j.axis)), (j.b, j.b_hole, np.array(j.axis))):
                face = members[m].hole_centre(hole) + 0.5 * normal
                flat, high = camera.project(np.stack([face, face + raise_by * normal]))
                at = np.hypot(o["x"] - flat[0], o["y"] - flat[1]) < 4
                o["x"][at] += high[0] - flat[0]
                o["y"][at] += high[1] - flat[1]
                for field in ("major", "minor"):
                    o[field][at] *= grow
        photos.append(make_posed_photo(f"photo {azimuth}", camera, SIZE, o, HOLE))
    even = [np.full((SIZE[1], SIZE[0], 3), 128, np.uint8)] * len(photos)
    return bolt_states(scene_of(photos, candidates_of(frame), 1.0, even), frame.joints, members)


def test_a_mark_wider_than_a_hole_and_raised_off_the_face_is_a_head():
    assert states_by_shape(FRAME, 1.8, 0.1) == ["seen"]


def test_a_mark_of_the_size_and_place_of_an_open_hole_is_no_bolt():
    assert states_by_shape(FRAME, 1.0, 0.0) == ["none"]


def test_at_a_three_way_lap_heads_are_seen_and_open_holes_are_no_bolts():
    assert len(CORNER_FRAME.joints) == 3 and all(j.three_way for j in CORNER_FRAME.joints)
    around = (-100, -60, 20, 60)
    heads, holes = (states_by_shape(CORNER_FRAME, *how, around) for how in ((1.8, 0.1), (1.0, 0.0)))
    assert heads.count("seen") >= 2 and "none" not in heads
    assert holes.count("none") >= 2 and "seen" not in holes


def test_more_is_asked_for_none_than_for_seen():
    assert [state_of(nats) for nats in (4.0, -4.0)] == ["seen", "assumed"]
