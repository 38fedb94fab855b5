"""The principal point of cropped pictures, against a published construction and a published camera."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from recon.geometry.camera import Camera
from recon.solve.evidence.camera_prior import camera_prior
from recon.solve.photo.resection import resect
from recon.solve.photo.row_points import RowPoints
from recon.solve.photo.vanishing_points import find_vanishing_points
from tests.solve.chessboard import BOARD, LEFT, SIGMA_PX, SIZE, corners, published, resected

WIDE, HIGH = 1600, 1200


def rows_in(camera, noise_px=0.1, seed=0):
    """Nine rows of nine openings along each axis: (27, 9, 2) px, and the steps (27, 9)."""
    rng = np.random.default_rng(seed)
    step = np.tile(np.arange(9.0), (27, 1))
    space = []
    for axis in range(3):
        for place in rng.uniform(-4, 4, (9, 3)):
            place[axis] = -4
            space.append(place + np.arange(9.0)[:, None] * np.eye(3)[axis])
    px = camera.project(np.concatenate(space)).reshape(27, 9, 2)
    return px + rng.normal(0, noise_px, px.shape), step


def vanishing_point(rows):
    """Where the lines through rows of points (N, K, 2) meet, by least squares."""
    normal, offset = [], []
    for xy in rows:
        middle = xy.mean(0)
        n = np.linalg.svd(xy - middle)[2][1]
        normal.append(n)
        offset.append(n @ middle)
    return np.linalg.lstsq(np.array(normal), np.array(offset), rcond=None)[0]


def orthocentre(a, b, c):
    """Where the altitudes of a triangle meet."""
    return np.linalg.solve([c - b, a - c], [(c - b) @ a, (a - c) @ b])


# Of three vanishing points of perpendicular directions the altitudes meet in the principal point c, and
# (a - c) (b - c) + f^2 = 0.  Source: Caprile and Torre 1990, "Using vanishing points for camera calibration",
# doi:10.1007/BF00127813; the equations as in the photogrammetric congress paper at
# https://goobi.tib.eu/viewer/!fulltext/1048642631/271, equations 24 to 28.
@pytest.mark.parametrize("off", [(0, 0), (150, -60), (-110, 120)])
def test_the_principal_point_is_the_orthocentre_of_the_vanishing_points(off):
    turn = Rotation.from_euler("xyz", [118, 32, 40], degrees=True).as_matrix()
    centre = np.array([(WIDE - 1) / 2, (HIGH - 1) / 2]) + off
    true = Camera(1300.0, *centre, R=turn, t=np.array([0.0, 0.0, 16.0]))
    px, step = rows_in(true)
    points = [vanishing_point(px[9 * k : 9 * k + 9]) for k in range(3)]
    meeting = orthocentre(*points)
    focal = np.sqrt(-(points[0] - meeting) @ (points[1] - meeting))
    rows = RowPoints(px, step, np.ones(step.shape), np.full(len(step), 1.0))
    found = find_vanishing_points(rows, np.ones(27), (WIDE, HIGH), None, free=True)[0].camera
    # The construction takes the frame for square; the camera is found before one that may be racked.
    assert np.abs(np.array([found.cx, found.cy]) - meeting).max() < 0.03 * WIDE
    assert found.f == pytest.approx(focal, rel=0.02)
    assert np.abs(meeting - centre).max() < 0.01 * WIDE


# Source: tests/data/chessboard/left_intrinsics.yml (OpenCV sample data, Debian opencv-doc 4.6.0).
@pytest.mark.parametrize(
    "left, top, right, low", [(0, 0, 0, 0), (60, 0, 0, 0), (0, 0, 80, 0), (40, 30, 0, 0), (0, 0, 100, 60)]
)
def test_the_published_principal_point_of_cropped_views_is_found(left, top, right, low):
    size = SIZE[0] - left - right, SIZE[1] - top - low
    matrix = published()[0]
    true = np.array([matrix[0, 2] - left, matrix[1, 2] - top])
    found = []
    for number in LEFT:
        xy = corners("left", number) - [left, top]
        if (xy < 2).any() or (xy > np.array(size) - 3).any():
            continue  # the crop cuts the board
        start = replace(resected("left", number), cx=(size[0] - 1) / 2, cy=(size[1] - 1) / 2)
        camera = resect(start, BOARD, xy, SIGMA_PX, prior=camera_prior(size, None), lens_terms=2)
        found.append((camera.cx, camera.cy))
    assert len(found) >= 6
    off = np.abs(np.array(found) - true).max(1) / size[0]
    assert np.abs(np.median(found, axis=0) - true).max() < 0.03 * size[0]
    assert off.max() < 0.06  # single views of a plane, some nearly head on
