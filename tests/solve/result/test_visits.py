"""Photos of two visits between which a member was moved."""

from dataclasses import replace

import numpy as np

from recon.frame.model import Frame, as_tuple
from recon.solve.result.visits import moved_between_visits
from tests.growing import grow_frame
from tests.solve.scenes import camera_round, candidates_of, photo_of, scene_of, shoot

FAR = np.array([3.0, 0.0, 0.0])


def visits():
    """A frame, the same with its last member moved, and two photos of each."""
    frame = grow_frame(1, 8, holes=(8, 13))
    last = frame.members[-1]
    moved = replace(last, first=as_tuple(np.array(last.first) + FAR))
    other = Frame((*frame.members[:-1], moved))
    camera = [camera_round(Frame((*frame.members, moved)), a, 25) for a in (20, 60, 100, 140)]
    photos = [
        photo_of(shoot(f, c, k), f"{k}.jpg")
        for k, (f, c) in enumerate(zip((frame, frame, other, other), camera))
    ]
    return frame, moved, photos


def labels(scene):
    return [chr(ord("A") + k) for k in range(len(scene.candidates))]


def test_a_member_moved_between_two_visits_is_named_with_its_photos():
    frame, moved, photos = visits()
    scene = scene_of(photos, [*candidates_of(frame), *candidates_of(Frame((moved,)))])
    (text,) = moved_between_visits(scene, labels(scene))
    assert text.startswith("H and I may be one member that was moved: ")
    first, second = text.split(" at H, ")
    assert ("0.jpg" in first or "1.jpg" in first) and "2.jpg" not in first
    assert ("2.jpg" in second or "3.jpg" in second) and "1.jpg" not in second


def test_photos_of_one_visit_say_nothing():
    frame, _, photos = visits()
    scene = scene_of(photos[:2], candidates_of(frame))
    assert moved_between_visits(scene, labels(scene)) == []
    hidden = scene_of(
        photos, candidates_of(frame)
    )  # the last member is denied by two photos: no other is seen
    assert moved_between_visits(hidden, labels(hidden)) == []
