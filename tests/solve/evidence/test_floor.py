"""The floor under a frame, as photos show it."""

from functools import cache

import cv2
import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from recon.solve.evidence.floor import (
    LEAST_CELLS,
    FloorPicture,
    floor_nats,
    floor_picture,
    floor_under,
    shared_floor,
)
from recon.solve.evidence.posed_photo import with_camera
from tests.solve.floors import LEVEL, box, box_frame, floor_photo, marks
from tests.solve.scenes import SIZE, camera_round, photo_of, scene_of, shoot

HALF_TURN = np.diag([-1.0, -1.0, 1.0])
SHIFT = np.array([16.0, 10.0, 0.0])  # with the half turn it lays the box on itself


@cache
def shots():
    return [shoot(box_frame(), camera_round(box_frame(), a, 30, fill=0.5), a) for a in (20, 75, 200)]


def cameras():
    return [s.camera for s in shots()]


@cache
def picture(i, seed):
    """The floor of a seed, as the camera of photo `i` sees it."""
    return floor_photo(cameras()[i], SIZE, marks(seed), seed=i)


@cache
def right():
    """What the photos say of their floor where each lies as it should."""
    return shared_floor(box_scene())


def box_scene(poses=None, seeds=(1, 1, 1)):
    """The box photographed from three sides, with the poses given it, each floor from a seed of its own."""
    poses = poses or cameras()
    photos = [with_camera(photo_of(s, f"{i}"), c) for i, (s, c) in enumerate(zip(shots(), poses))]
    pictures = [picture(i, s) for i, s in enumerate(seeds)]
    return scene_of(photos, box(), pictures=pictures)


def test_photos_in_one_world_share_their_floor():
    assert right() > 100


@pytest.mark.parametrize("which", range(3))
def test_a_photo_in_the_wrong_turn_does_not(which):
    wrong = [c.moved(HALF_TURN, SHIFT) if i == which else c for i, c in enumerate(cameras())]
    assert shared_floor(box_scene(wrong)) < 0.6 * right()


def test_photos_of_other_floors_do_not():
    assert shared_floor(box_scene(seeds=(1, 2, 3))) < 30


def test_a_floor_without_marks_says_nothing():
    scene = box_scene()
    plain = dict.fromkeys(scene.pictures, np.full((SIZE[1], SIZE[0], 3), 120, np.uint8))
    assert shared_floor(scene_of(scene.photos, box(), pictures=list(plain.values()))) == 0


def test_what_members_hide_and_what_is_out_of_the_picture_is_not_seen():
    scene = box_scene()
    floor = floor_under(scene)
    shown = floor_picture(scene, scene.photos[0], scene.photos[0].camera, floor)
    seen = floor.cells[shown.seen]
    assert floor.cells[0, 0, 2] == LEVEL and 1000 < len(seen) < floor.cells[..., 0].size
    px = scene.photos[0].camera.project(seen)
    assert ((px > 0) & (px < SIZE)).all()
    assert not scene.occluders.hide(scene.photos[0].camera.centre, seen).any()
    assert scene.occluders.hide(scene.photos[0].camera.centre, floor.cells[~shown.seen]).any()


def test_the_floor_from_above_is_that_of_a_homography():
    """Outside check: OpenCV's warp by the homography from four points of the plane to the picture."""
    scene = box_scene()
    floor, photo = floor_under(scene), scene.photos[1]
    shown = floor_picture(scene, photo, photo.camera, floor)
    h, w = shown.seen.shape
    corners = np.array([[0, 0], [0, w - 1], [h - 1, 0], [h - 1, w - 1]])
    px = photo.camera.project(floor.cells[corners[:, 0], corners[:, 1]]).astype(np.float32)
    H = cv2.getPerspectiveTransform(corners[:, ::-1].astype(np.float32), px)
    above = cv2.warpPerspective(
        scene.picture(photo), H, (w, h), flags=cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR
    )
    grey = cv2.cvtColor(above, cv2.COLOR_BGR2GRAY)[shown.seen]
    assert np.corrcoef(grey, shown.value[shown.seen])[0, 1] > 0.8


def test_floors_lie_on_each_other_where_a_library_lays_them():
    """Outside check: scikit-image's registration of masked pictures (Padfield 2012) finds no shift."""
    scene = box_scene()
    floor = floor_under(scene)
    a, b = (floor_picture(scene, p, p.camera, floor) for p in scene.photos[:2])
    shift = phase_cross_correlation(
        a.value, b.value, reference_mask=a.seen, moving_mask=b.seen, overlap_ratio=0.3
    )[0]
    assert np.abs(shift).max() <= 1 and floor_nats(a, b) > 30


def test_photos_that_share_too_little_floor_say_nothing():
    marked = np.random.default_rng(1).normal(size=(60, 60))
    left, right = np.zeros((60, 60), bool), np.zeros((60, 60), bool)
    left[:, :32], right[:, 30:] = True, True
    assert (left & right).sum() < LEAST_CELLS
    assert floor_nats(FloorPicture(marked * left, left), FloorPicture(marked * right, right)) == 0
