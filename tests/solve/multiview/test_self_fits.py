"""A frame that fits itself: which way each photo looks at it."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.posed_photo import with_camera
from recon.solve.multiview.assemble import assemble
from recon.solve.multiview.hypotheses import RegisteredPhotos
from recon.solve.multiview.registration import moved_lattice
from recon.solve.multiview.self_fits import (
    TurnedFloors,
    mirrored_on_floor,
    turned_on_floor,
    turns_of,
)
from recon.solve.photo.read_photo import read_photo
from tests.solve.floors import box, box_frame, floor_photo, frame_of, marks
from tests.solve.scenes import SIZE, camera_round, lattice_change, photo_of, scene_of, shoot

UP = np.eye(3)[2]
AZIMUTHS = (20, 75, 200)


@cache
def photos_of_the_box():
    """Shots of the box, each photo read by itself, and pictures of the floor below it."""
    shots = [
        shoot(box_frame(), camera_round(box_frame(), a, 30, fill=0.6), i) for i, a in enumerate(AZIMUTHS)
    ]
    readings = [read_photo(f"{i}", s.openings, SIZE, None, 1.0) for i, s in enumerate(shots)]
    pictures = {f"{i}": floor_photo(s.camera, SIZE, marks(1), seed=i) for i, s in enumerate(shots)}
    return shots, readings, pictures


def test_a_box_fits_itself_after_half_a_turn_only():
    assert [t.shift.tolist() for t in turns_of(box(), UP)] == [[0, 0, 0], [16, 10, 0]]


def test_a_square_box_fits_itself_after_quarters_too():
    posts = [Candidate.bare(2, [x, y, 0], 9) for x in (0, 6) for y in (0, 6)]
    assert len(turns_of(posts, UP)) == 4


def test_a_frame_without_a_like_side_fits_itself_in_no_turn():
    assert len(turns_of([Candidate.bare(2, [0, 0, 0], 9), Candidate.bare(0, [0, 1, 2], 5)], UP)) == 1


@pytest.mark.parametrize("which", (1, 2))
def test_a_photo_in_the_wrong_turn_is_turned_back(which):
    shots, readings, pictures = photos_of_the_box()
    photos, lattices = [photo_of(s, f"{i}") for i, s in enumerate(shots)], [r.lattice for r in readings]
    half = turns_of(box(), UP)[1]
    photos[which] = with_camera(photos[which], photos[which].camera.moved(half.turn, half.shift))
    lattices[which] = moved_lattice(lattices[which], half.turn, half.shift)
    registered = RegisteredPhotos(tuple(photos), tuple(lattices))
    floors = TurnedFloors(scene_of(photos, box(), pictures=list(pictures.values())))
    turned, gain = turned_on_floor(registered, floors)
    assert gain > 50
    for shot, photo in zip(shots, turned.photos):
        assert np.allclose(photo.camera.R, shot.camera.R) and np.allclose(photo.camera.t, shot.camera.t)


def test_photos_that_agree_are_left_as_they_are():
    shots, readings, pictures = photos_of_the_box()
    photos = [photo_of(s, f"{i}") for i, s in enumerate(shots)]
    registered = RegisteredPhotos(tuple(photos), tuple(r.lattice for r in readings))
    floors = TurnedFloors(scene_of(photos, box(), pictures=list(pictures.values())))
    same, gain = turned_on_floor(registered, floors)
    assert same is registered and gain == 0


def test_the_photos_of_a_box_come_to_lie_the_right_way_round():
    """The openings alone cannot tell: the floor does."""
    shots, readings, pictures = photos_of_the_box()
    scene = assemble(readings, pictures, 1.0)
    assert len(scene.photos) == 3
    turns = [lattice_change(p.camera, shots[int(p.name)].camera)[0] for p in scene.photos]
    assert all((t == turns[0]).all() for t in turns)


def as_in_a_mirror(photo, picture):
    """A photo of the box as it is read from its mirrored picture: on the box's mirror image, which fits."""
    across = np.diag([-1.0, 1.0, 1.0])
    reflected = photo.camera.moved(across, np.array([16.0, 0.0, 0.0]))
    camera = replace(
        reflected.posed(across @ reflected.R, across @ reflected.t), cx=SIZE[0] - 1 - reflected.cx
    )
    return with_camera(photo, camera), picture[:, ::-1]


@pytest.mark.parametrize("which", range(3))
def test_a_mirrored_photo_is_known_by_its_floor(which):
    shots, _, pictures = photos_of_the_box()
    photos, shown = [photo_of(s, f"{i}") for i, s in enumerate(shots)], list(pictures.values())
    right = scene_of(photos, box(), pictures=shown)
    assert mirrored_on_floor(TurnedFloors(right)) is None
    photos[which], shown[which] = as_in_a_mirror(photos[which], shown[which])
    assert np.linalg.det(photos[which].camera.R) == pytest.approx(1)
    scene = scene_of(photos, box(), pictures=shown)
    assert mirrored_on_floor(TurnedFloors(scene)) == which


def test_of_two_photos_none_is_called_mirrored():
    shots, _, pictures = photos_of_the_box()
    photos, shown = [photo_of(s, f"{i}") for i, s in enumerate(shots)][:2], list(pictures.values())[:2]
    photos[1], shown[1] = as_in_a_mirror(photos[1], shown[1])
    scene = scene_of(photos, box(), pictures=shown)
    assert mirrored_on_floor(TurnedFloors(scene)) is None


@cache
def gate():
    """A gate that is nearly its own mirror image: its rails stand out on one side by three holes more."""
    posts = [Candidate.bare(2, [x, 1, 0], 9 + 2 * (x > 0)) for x in (0, 14)]
    rails = [Candidate.bare(0, [-5, 0, z], 22) for z in (2, 7)]
    feet = [Candidate.bare(1, [x, 0, 0], 8) for x in (-1, 15)]
    return (*posts, *rails, *feet)


@cache
def photo_of_the_gate(i, mirrored=False):
    """A photo of the gate on a floor of its own, read by itself, and its picture."""
    shot = shoot(frame_of(gate()), camera_round(frame_of(gate()), (60, 95, 125)[i], 25, fill=0.7), i)
    picture, openings = floor_photo(shot.camera, SIZE, marks(i), seed=i), shot.openings.copy()
    if mirrored:
        openings["x"], openings["angle"] = SIZE[0] - 1 - openings["x"], -openings["angle"]
        picture = picture[:, ::-1]
    return read_photo(f"{i}", openings, SIZE, None, 1.0), picture


@pytest.mark.parametrize("which", (2, None))
def test_a_mirrored_photo_is_known_by_members_that_end_elsewhere(which):
    readings, pictures = zip(*(photo_of_the_gate(i, i == which) for i in range(3)))
    scene = assemble(readings, dict(zip("012", pictures)), 1.0)
    assert [name for name, _ in scene.set_aside] == ([] if which is None else ["2"])
    assert all("mirror image" in why for _, why in scene.set_aside)
