"""The published chessboard as rows of openings at one square's pitch.

Source of pictures and camera values: OpenCV sample data, Debian package opencv-doc 4.6.0, examples/data
(tests/data/chessboard/README.md).
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from recon.geometry.camera import Camera, image2sensor
from recon.image.openings import OPENING
from recon.image.rows import Row
from recon.solve.photo.resection import resect
from recon.solve.photo.row_points import place_rows, row_points
from recon.solve.photo.vanishing_points import find_vanishing_points

FOLDER = Path(__file__).parents[1] / "data" / "chessboard"
SIZE = (640, 480)
SQUARE_MM = 25.0
LEFT = [n for n in range(1, 15) if n != 10]
PAIRS = [1, 2, 3, 4, 5]
GRID = np.arange(54).reshape(6, 9)
ROWS = [Row(line, np.arange(len(line)), -5.0) for line in [*GRID, *GRID.T]]  # 6 rows of 9, 9 columns of 6
BOARD = np.array([(c, r, 0) for r in range(6) for c in range(9)], float)  # squares
SIGMA_PX = np.full(54, 0.25)


@cache
def corners(side: str, number: int) -> np.ndarray:
    """(54, 2) px, inner corners in the order of BOARD, refined below a pixel."""
    grey = cv2.imread(str(FOLDER / f"{side}{number:02d}.jpg"), cv2.IMREAD_GRAYSCALE)
    found, xy = cv2.findChessboardCorners(grey, (9, 6))
    assert found
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 1e-3)
    return cv2.cornerSubPix(grey, xy, (5, 5), (-1, -1), stop).reshape(-1, 2).astype(float)


def as_openings(xy: np.ndarray) -> np.ndarray:
    """Points as sharp little openings of 1 px."""
    out = np.zeros(len(xy), OPENING)
    out["x"], out["y"] = xy.T
    out["major"] = out["minor"] = 1.0
    out["score"] = 4.0
    return out


@cache
def published():
    """Camera matrix (3, 3), distortion (5,), {view number: (rotation vector (3,), translation (3,) mm)}."""
    store = cv2.FileStorage(str(FOLDER / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
    matrix, lens, poses = (
        store.getNode(n).mat() for n in ("camera_matrix", "distortion_coefficients", "extrinsic_parameters")
    )
    return matrix, lens.ravel(), {n: (p[:3], 1000 * p[3:]) for n, p in zip(LEFT, poses)}


@cache
def points_of(side, number):
    return row_points(as_openings(corners(side, number)), ROWS)


@cache
def from_rows(side: str, number: int):
    """Vanishing points of one view: no focal length given, principal point taken at the picture's middle."""
    return find_vanishing_points(points_of(side, number), np.ones(len(ROWS)), SIZE, None)[0]


@cache
def resected(side: str, number: int) -> Camera:
    """Camera of one view posed on the board (squares), nothing known beforehand."""
    axes, points = from_rows(side, number), points_of(side, number)
    along = [np.bincount(axis[axis >= 0], minlength=3).argmax() for axis in (axes.axis[:6], axes.axis[6:])]
    camera = axes.camera
    place, way, _ = place_rows(image2sensor(camera, points.px), points, camera.R.T[np.repeat(along, [6, 9])])
    R = np.c_[way[0], way[6], np.cross(way[0], way[6])]
    return resect(camera.posed(R, place[0]), BOARD, corners(side, number), SIGMA_PX)


def with_lens(camera: Camera, f: float, cx: float, cy: float, k1: float = 0.0, k2: float = 0.0) -> Camera:
    return replace(camera, f=f, cx=cx, cy=cy, k1=k1, k2=k2)
