"""Rows, camera and pose against a photographed lattice with published camera values.

Source of every published value here: OpenCV sample data (Debian opencv-doc 4.6.0, examples/data),
tests/data/chessboard/left_intrinsics.yml.
"""

from functools import cache

import cv2
import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from recon.geometry.camera import Camera, project_jacobian, stepped
from recon.geometry.lattice import rotations
from recon.image.rows import fit_row, row_position
from recon.solve.multiview.registration import Cells, turned_cells, vote_shift
from recon.solve.photo.resection import resect
from recon.solve.photo.row_points import row_residuals
from tests.solve.chessboard import (
    BOARD,
    LEFT,
    PAIRS,
    ROWS,
    SIGMA_PX,
    SIZE,
    SQUARE_MM,
    corners,
    from_rows,
    points_of,
    published,
    resected,
    with_lens,
)

PUBLISHED_F, PUBLISHED_K1 = 535.916, -0.266
POORLY_PUBLISHED = 2  # its published reprojection error is 1.18 px, the others' 0.16 to 0.38


def lens_undone(xy):
    """Image points with the published lens taken away by OpenCV."""
    matrix, lens, _ = published()
    return cv2.undistortPoints(xy.reshape(-1, 1, 2), matrix, lens, P=matrix).reshape(-1, 2)


def along_and_across(xy):
    """Positions of points along and across their line, px."""
    q = xy - xy.mean(0)
    axes = np.linalg.svd(q)[2]
    return q @ axes[0], q @ axes[1]


def rms(e):
    return float(np.sqrt(np.mean(np.square(e))))


def degrees_between(R, S):
    return float(np.degrees(np.linalg.norm(Rotation.from_matrix(R @ S.T).as_rotvec())))


# Cross-ratio (x2-x0)(x3-x1) / ((x2-x1)(x3-x0)) of four collinear points at steps k is that of the steps
# themselves,
# in any picture.  Source: Hartley and Zisserman 2004, section 2.5.
@pytest.mark.parametrize(
    "steps, theory", [((0, 1, 2, 3), 4 / 3), ((0, 1, 2, 4), 3 / 2), ((0, 1, 3, 4), 9 / 8)]
)
def test_cross_ratios_along_board_rows_are_those_of_their_steps(steps, theory):
    found = []
    for n in LEFT:
        xy = lens_undone(corners("left", n))
        for row in ROWS:
            x, _ = along_and_across(xy[row.index])
            for k in range(len(x) - steps[-1]):
                a, b, c, d = x[k + np.array(steps)]
                found.append((c - a) * (d - b) / ((c - b) * (d - a)))
    assert np.abs(np.array(found) - theory).max() < 0.012 * theory
    assert np.median(found) == pytest.approx(theory, rel=3e-4)


@pytest.mark.parametrize("number", LEFT)
def test_board_rows_fit_projectively_even_steps(number):
    xy = lens_undone(corners("left", number))
    for row in ROWS:
        along, across = along_and_across(xy[row.index])
        fit = fit_row(row.step, along)
        assert rms(row_position(fit, row.step) - along) < 0.25  # corners are good to about 0.1 px
        assert rms(across) < 0.3
        # Left without its last corner, the row predicts it.
        fit = fit_row(row.step[:-1], along[:-1])
        assert abs(row_position(fit, row.step[-1]) - along[-1]) < 1.5


def test_even_steps_in_the_picture_do_not_fit_board_rows():
    """The projective term is needed: equal steps in px miss the corners by several px."""
    worst = 0
    for n in LEFT:
        xy = lens_undone(corners("left", n))
        for row in ROWS:
            along, _ = along_and_across(xy[row.index])
            worst = max(worst, rms(np.polyval(np.polyfit(row.step, along, 1), row.step) - along))
    assert worst > 2.0


def test_focal_length_from_rows_of_single_views():
    """A plane gives two of the three vanishing points; with the principal point in the middle they fix f
    (Caprile and Torre 1990, doi:10.1007/BF00127813).  Nearly head-on views say little."""
    f = np.array([from_rows("left", n).camera.f for n in LEFT])
    assert np.abs(f / PUBLISHED_F - 1).max() < 0.20
    assert np.median(f) == pytest.approx(PUBLISHED_F, rel=0.025)


def test_all_rows_belong_to_two_perpendicular_vanishing_points():
    for n in LEFT:
        axis = from_rows("left", n).axis
        assert len(set(axis[:6])) == len(set(axis[6:])) == 1 and axis[0] != axis[6] and (axis >= 0).all()


def test_radial_distortion_from_rows_of_single_views():
    k1 = np.array([from_rows("left", n).camera.k1 for n in LEFT])
    assert np.abs(k1 - PUBLISHED_K1).max() < 0.08
    assert np.median(k1) == pytest.approx(PUBLISHED_K1, abs=0.02)


def test_rows_placed_at_unit_pitch_reproject_within_half_a_px():
    for n in LEFT:
        axes, points = from_rows("left", n), points_of("left", n)
        e = row_residuals(axes.camera, points, axes.axis)
        assert np.sqrt((e**2).sum((1, 2)) / points.weight.sum(1)).max() < 0.6


def test_focal_length_after_resection_of_single_views():
    f = np.array([resected("left", n).f for n in LEFT])
    assert np.abs(f / PUBLISHED_F - 1).max() < 0.06
    assert np.median(f) == pytest.approx(PUBLISHED_F, rel=0.012)


@cache
def posed_with_published_lens(number) -> Camera:
    (matrix, lens, _), start = published(), resected("left", number)
    camera = with_lens(start, matrix[0, 0], matrix[0, 2], matrix[1, 2], lens[0])
    return resect(camera, BOARD, corners("left", number), SIGMA_PX, focal_prior=matrix[0, 0], lens_terms=2)


@pytest.mark.parametrize("number", LEFT)
def test_pose_against_the_published_pose(number):
    turn, shift_mm = published()[2][number]
    camera = posed_with_published_lens(number)
    assert degrees_between(camera.R, Rotation.from_rotvec(turn).as_matrix()) < (
        0.8 if number == POORLY_PUBLISHED else 0.3
    )
    t = camera.t * SQUARE_MM
    assert np.linalg.norm(t - shift_mm) < 0.03 * np.linalg.norm(shift_mm)
    # Focal length and distance go together in one view of a plane; what is left when that is taken out:
    assert np.abs(t * [1, 1, PUBLISHED_F / camera.f] - shift_mm).max() < 2.0


@pytest.mark.parametrize("number", LEFT)
def test_pose_against_solvepnp_with_the_same_lens(number):
    camera = posed_with_published_lens(number)
    matrix = np.array([[camera.f, 0, camera.cx], [0, camera.f, camera.cy], [0, 0, 1]])
    _, turn, shift = cv2.solvePnP(
        BOARD, corners("left", number), matrix, np.array([camera.k1, camera.k2, 0, 0])
    )
    assert degrees_between(camera.R, Rotation.from_rotvec(turn.ravel()).as_matrix()) < 0.05
    assert np.linalg.norm(camera.t - shift.ravel()) * SQUARE_MM < 0.1


@cache
def calibrated(side, numbers):
    """f, k1, k2 common to all views of one camera, and the posed cameras, by least squares."""
    starts = [resected(side, n) for n in numbers]
    seen = [corners(side, n) for n in numbers]
    common = np.median([s.f for s in starts])

    def cameras(p):
        return [
            stepped(with_lens(s, common, s.cx, s.cy), np.r_[p[:3], p[3 + 6 * i : 9 + 6 * i]])
            for i, s in enumerate(starts)
        ]

    def residual(p):
        return np.concatenate([(c.project(BOARD) - xy).ravel() for c, xy in zip(cameras(p), seen)])

    def jacobian(p):
        J = np.zeros((108 * len(starts), len(p)))
        for i, c in enumerate(cameras(p)):
            d = project_jacobian(c, BOARD)[1][:, :, :9].reshape(-1, 9)
            J[108 * i : 108 * (i + 1), :3], J[108 * i : 108 * (i + 1), 3 + 6 * i : 9 + 6 * i] = (
                d[:, :3],
                d[:, 3:],
            )
        return J

    found = least_squares(residual, np.zeros(3 + 6 * len(starts)), jac=jacobian, x_scale="jac")
    return cameras(found.x), rms(found.fun) * np.sqrt(2)


def test_focal_length_and_lens_of_all_views_against_calibratecamera():
    """cv2.calibrateCamera minimises the same sum with the same free terms, so all digits should agree."""
    cameras, error = calibrated("left", tuple(LEFT))
    guess = np.array([[640, 0, 319.5], [0, 640, 239.5], [0, 0, 1]])
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS
        | cv2.CALIB_FIX_PRINCIPAL_POINT
        | cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_ZERO_TANGENT_DIST
        | cv2.CALIB_FIX_K3
    )
    theirs, matrix, lens, turned, _ = cv2.calibrateCamera(
        [BOARD.astype(np.float32)] * len(LEFT),
        [corners("left", n).astype(np.float32) for n in LEFT],
        SIZE,
        guess,
        None,
        flags=flags,
    )
    assert error == pytest.approx(theirs, rel=1e-4)
    assert cameras[0].f == pytest.approx(matrix[0, 0], rel=1e-5)
    assert [cameras[0].k1, cameras[0].k2] == pytest.approx(lens.ravel()[:2], abs=1e-4)
    for camera, turn in zip(cameras, turned):
        assert degrees_between(camera.R, Rotation.from_rotvec(np.ravel(turn)).as_matrix()) < 0.01
    assert cameras[0].f == pytest.approx(PUBLISHED_F, rel=0.005)  # published with five lens terms


# The board as cells: rows along x, columns along y, faces turned to the cameras (towards -z).
CELLS = Cells(np.vstack([BOARD, BOARD]), np.repeat([0, 1], 54), np.ones(108), np.ones(108))
FACING = np.array([0.0, 0, -1])  # the way the board's squares face


@cache
def right_in_left(number, turn_index, lens="own"):
    """Cameras (left, right) of one pair, the right one put into the left one's world by the lattice alone.

    The right photo comes with a lattice of its own: turned by one of the 24 turns and shifted.
    """
    if lens == "own":
        left, right = resected("left", number), resected("right", number)
    else:
        left = calibrated("left", tuple(LEFT))[0][LEFT.index(number)]
        right = calibrated("right", tuple(PAIRS))[0][PAIRS.index(number)]
    own_turn, own_shift = rotations()[turn_index], np.array([7.0, -3, 12])
    right, cells = right.moved(own_turn, own_shift), turned_cells(CELLS, own_turn, own_shift)
    full = [
        (turn, shift)
        for turn in rotations()
        for votes, shift in vote_shift(CELLS, cells, turn, 1.0)
        if votes > 107.5
    ]
    assert len(full) == 4  # the board comes back onto itself by half turns round x, y and z
    facing = [(t, s) for t, s in full if np.allclose(t @ own_turn @ FACING, FACING)]
    assert len(facing) == 2
    placed = [right.moved(t, s) for t, s in facing]
    return left, min(
        placed, key=lambda c: np.linalg.norm(c.centre - left.centre)
    )  # the cameras stand side by side


def baseline(pair):
    left, right = pair
    return left.R @ (right.centre - left.centre) * SQUARE_MM


@pytest.mark.parametrize("lens, spread", [("own", 0.06), ("calibrated", 0.04)])
def test_left_and_right_put_together_by_the_lattice_keep_one_baseline(lens, spread):
    """Two fixed cameras: the right one stands at the same place for the left one in all five pairs.

    With the lens of each photo as found from that photo alone, and with one lens for all photos of a camera.
    The principal point is taken at the picture's middle, up to 23 px off; cv2.calibrateCamera with this
    point fixed there gives poses whose baseline spreads 3.0 %, and with it free 1.5 %.
    """
    pairs = [right_in_left(n, 5 * n % 24, lens) for n in PAIRS]
    length = np.array([np.linalg.norm(baseline(p)) for p in pairs])
    assert np.ptp(length) < spread * length.mean()
    turn = [right.R @ left.R.T for left, right in pairs]
    assert max(degrees_between(t, turn[0]) for t in turn) < (1.2 if lens == "own" else 0.5)


def test_baseline_against_stereocalibrate():
    pairs = [right_in_left(n, 3 * n % 24, "calibrated") for n in PAIRS]
    matrices, lenses = [], []
    for camera in pairs[0]:
        matrices.append(np.array([[camera.f, 0, camera.cx], [0, camera.f, camera.cy], [0, 0, 1]]))
        lenses.append(np.array([camera.k1, camera.k2, 0, 0]))
    out = cv2.stereoCalibrate(
        [BOARD.astype(np.float32)] * 5,
        [corners("left", n).astype(np.float32) for n in PAIRS],
        [corners("right", n).astype(np.float32) for n in PAIRS],
        matrices[0],
        lenses[0],
        matrices[1],
        lenses[1],
        SIZE,
        flags=cv2.CALIB_FIX_INTRINSIC,
    )
    theirs = -out[5].T @ out[6].ravel() * SQUARE_MM  # place of the right camera seen from the left one
    ours = np.mean([baseline(p) for p in pairs], axis=0)
    assert np.linalg.norm(ours) == pytest.approx(np.linalg.norm(theirs), rel=0.02)
    assert np.abs(ours - theirs).max() < 3.0
