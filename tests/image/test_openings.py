"""Openings drawn in code: found, centred below a pixel, and hardly any in plain noise."""

import cv2
import numpy as np
import pytest
from scipy.spatial import cKDTree

from recon.image.openings import OPENING, detect_openings, lab_image

SHIFT = 6  # cv2 draws at 1 / 64 px
WOOD, GREY = (140, 180, 205), (150, 150, 150)  # BGR


def plate(holes, face=WOOD, hole=(45, 60, 70), size=(240, 320), noise=0.0, blur=0.6, seed=0):
    """uint8 BGR picture of a face with elliptic holes (x, y, major, minor, angle in radians; full axes in
    px)."""
    big = 4  # drawn 4 times larger and averaged down: anti-aliased to 1/16 of a grey step
    picture = np.empty((size[0] * big, size[1] * big, 3), np.uint8)
    picture[:] = face
    for x, y, major, minor, angle in holes:
        at = tuple(round(((v + 0.5) * big - 0.5) * 2**SHIFT) for v in (x, y))
        axes = tuple(round(v / 2 * big * 2**SHIFT) for v in (major, minor))
        cv2.ellipse(picture, at, axes, np.degrees(angle), 0, 360, hole, -1, cv2.LINE_AA, SHIFT)
    small = cv2.resize(picture, size[::-1], interpolation=cv2.INTER_AREA).astype(float)
    small = cv2.GaussianBlur(small, (0, 0), blur) + np.random.default_rng(seed).normal(0, noise, small.shape)
    return np.clip(small + 0.5, 0, 255).astype(np.uint8)


def grid_of_holes(major, minor, angle=0.4, count=(4, 4), size=(240, 320), seed=1):
    """Holes far enough apart, each somewhere within its pixel."""
    rng = np.random.default_rng(seed)
    xs, ys = np.linspace(40, size[1] - 40, count[0]), np.linspace(30, size[0] - 30, count[1])
    return [
        (x + rng.uniform(-0.5, 0.5), y + rng.uniform(-0.5, 0.5), major, minor, angle + rng.uniform(-0.3, 0.3))
        for x in xs
        for y in ys
    ]


def matched(found, holes):
    """For each hole its detection's error of centre in px (inf where none lies within its major axis), and
    the detections."""
    tree = cKDTree(np.c_[found["x"], found["y"]])
    d, j = tree.query([h[:2] for h in holes])
    return np.where(d < 0.5 * np.array([h[2] for h in holes]), d, np.inf), found[j]


def detect(picture):
    return detect_openings(lab_image(picture))


# Holes from 4 px across, foreshortened to 1 : 5 where that leaves 3 px, in grey levels of noise.
@pytest.mark.parametrize(
    "major, minor, noise",
    [
        (4, 4, 2),
        (5, 4, 3),
        (6, 3.5, 3),
        (8, 8, 5),
        (10, 5, 5),
        (15, 3, 3),
        (20, 20, 8),
        (20, 8, 8),
        (30, 6, 5),
        (40, 36, 8),
    ],
)
def test_dark_holes_are_found_and_centred_below_a_pixel(major, minor, noise):
    holes = grid_of_holes(major, minor)
    error, found = matched(detect(plate(holes, noise=noise)), holes)
    assert np.isfinite(error).all()
    assert np.sqrt(np.mean(error**2)) < 0.06 + 0.0025 * major and error.max() < 0.25  # px
    assert (found["contrast"] < -0.2).all()


@pytest.mark.parametrize("major, minor", [(10, 10), (12, 6), (24, 16), (20, 5)])
def test_axes_and_angle_of_the_ellipse_are_measured(major, minor):
    holes = grid_of_holes(major, minor)
    _, found = matched(detect(plate(holes, noise=2)), holes)
    assert np.median(found["major"]) == pytest.approx(major, rel=0.12, abs=0.5)
    assert np.median(found["minor"]) == pytest.approx(minor, rel=0.12, abs=0.8)
    if major > 1.2 * minor:
        turn = found["angle"] - [h[4] for h in holes]
        assert np.abs((turn + np.pi / 2) % np.pi - np.pi / 2).max() < 0.12


# What a hole may look like: dark, lit from behind, and of the face's own lightness but another colour.
ISOLUMINANT = [(GREY, (95, 145, 200)), ((160, 165, 150), (230, 160, 130))]


@pytest.mark.parametrize(
    "face, hole, sign",
    [
        (WOOD, (45, 60, 70), -1),
        (GREY, (60, 60, 60), -1),
        ((60, 60, 60), GREY, 1),
        ((70, 80, 90), (235, 240, 240), 1),
        (GREY, (130, 130, 130), -1),
    ],
)
def test_grey_dark_and_lit_holes_have_the_sign_of_their_contrast(face, hole, sign):
    holes = grid_of_holes(14, 9)
    error, found = matched(detect(plate(holes, face, hole, noise=2)), holes)
    assert error.max() < 0.3
    assert (np.sign(found["contrast"]) == sign).all()


@pytest.mark.parametrize("face, hole", ISOLUMINANT)
def test_holes_of_the_faces_lightness_are_found_by_colour(face, hole):
    lightness = lab_image(np.array([[face, hole]], np.uint8))[0, :, 0]
    assert abs(lightness[0] - lightness[1]) < 0.03  # hardly any difference in grey
    holes = grid_of_holes(14, 9)
    error, _ = matched(detect(plate(holes, face, hole, noise=2)), holes)
    assert error.max() < 0.3


def test_a_hole_half_lit_by_the_sun_is_found():
    """A see-through hole whose lower half shows its lit wall."""
    holes = grid_of_holes(20, 18, angle=0.0)
    picture = plate(holes, blur=0.01)
    for x, y, *_ in holes:
        inside = np.zeros(picture.shape[:2], np.uint8)
        cv2.ellipse(inside, (round(x), round(y)), (9, 8), 0, 0, 180, 1, -1)
        picture[inside > 0] = (110, 150, 175)
    error, _ = matched(detect(cv2.GaussianBlur(picture, (0, 0), 0.7)), holes)
    assert np.isfinite(error).mean() > 0.9


def test_the_best_scores_are_the_holes():
    holes = grid_of_holes(12, 9)
    found = detect(plate(holes, noise=12))
    assert (np.diff(found["score"]) <= 1e-9).all()
    error, _ = matched(found[: len(holes) + 3], holes)
    assert np.isfinite(error).all()


def test_no_opening_is_told_twice():
    holes = grid_of_holes(16, 10)
    found = detect(plate(holes, noise=2))
    tree = cKDTree(np.c_[found["x"], found["y"]])
    assert all(len(tree.query_ball_point(h[:2], 5)) == 1 for h in holes)


@pytest.mark.parametrize("noise, per_px", [(0, 0), (2, 1 / 10000), (5, 1 / 800), (10, 1 / 200)])
def test_plain_faces_give_few_openings_and_no_good_ones(noise, per_px):
    """Noise of a pixel's size, in grey levels; true holes score 8 and more in such noise."""
    found = detect(plate([], noise=noise, blur=0.01))
    assert len(found) <= per_px * 240 * 320
    assert not len(found) or found["score"].max() < 3.5


def test_edges_and_stripes_are_no_openings():
    picture = plate([], noise=1)
    picture[100:110] = (60, 70, 80)
    picture[:, 200:] = (picture[:, 200:] * 0.6).astype(np.uint8)
    assert len(detect(picture)) <= 6


def test_the_number_of_openings_is_bounded():
    assert len(detect_openings(lab_image(plate([], noise=25, blur=0.01)), most=50)) <= 50


def test_a_picture_of_nothing_has_no_openings():
    found = detect(np.zeros((60, 80, 3), np.uint8))
    assert len(found) == 0 and found.dtype == OPENING


def test_a_turned_picture_gives_the_turned_openings():
    holes = grid_of_holes(14, 9)
    picture = plate(holes, noise=3)
    here, there = detect(picture), detect(np.ascontiguousarray(np.rot90(picture)))
    # rot90 turns anticlockwise: (x, y) goes to (y, W - 1 - x).
    turned = np.c_[there["x"], there["y"]]
    strong = here[: len(holes)]
    d, _ = cKDTree(turned).query(np.c_[strong["y"], picture.shape[1] - 1 - strong["x"]])
    assert d.max() < 0.3


def test_openings_of_a_black_and_white_picture_are_those_of_the_coloured_one():
    holes = grid_of_holes(9, 6)
    colour = plate(holes, noise=2.0)
    grey = cv2.cvtColor(cv2.cvtColor(colour, cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR)
    for picture in (colour, grey):
        found = detect_openings(lab_image(picture))
        off = cKDTree(np.c_[found["x"], found["y"]]).query([h[:2] for h in holes])[0]
        assert off.max() < 0.5
